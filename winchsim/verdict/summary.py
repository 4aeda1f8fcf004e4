"""The numbers of a lift that everyone asks for."""

from __future__ import annotations

from winchsim.assessment.history import History
from winchsim.assessment.margins import hardest_margins, hot_margins
from winchsim.assessment.readings import efficiency, mean_current, steady_speed
from winchsim.verdict.finding import Summary


def summarise(history: History) -> Summary:
    """Summary of a run.

    Parameters
    ----------
    history : History
    """
    record, m = history.record, history.machine
    windings = [float(record[f"motor_{group.number}_winding"].max()) for group in m.groups]
    return Summary(
        lift_time=history.lift_time,
        final_height=float(record["height"][-1]),
        highest=float(record["height"].max()),
        steady_speed=steady_speed(history),
        peak_current=float(record["current"].max()),
        mean_current=mean_current(history),
        peak_tension=float(record["tension"].max()),
        peak_winding=max(windings),
        energy_in=record.energy.source,
        efficiency=efficiency(history),
        charge=float(record["charge"][-1]),
        stall_margin_cold=hardest_margins(m).resting,
        stall_margin_hot=hot_margins(m).resting,
    )
