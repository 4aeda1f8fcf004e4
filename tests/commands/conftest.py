"""A folder with the scenario that ``winchsim new`` writes, or with what a module calls ``CRATE``."""

import pytest

from winchsim.scenario.starter import STARTER


@pytest.fixture(scope="module")
def folder(request, tmp_path_factory):
    """The folder; its scenario is ``crate.toml``."""
    made = tmp_path_factory.mktemp("crate")
    (made / "crate.toml").write_text(getattr(request.module, "CRATE", STARTER), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def crate(folder):
    """Name of its scenario."""
    return str(folder / "crate.toml")
