"""winchsim: a time-step simulator of a motor-driven winch lift."""

from winchsim.version import __version__ as __version__
