"""Options of the charts that show many builds, or measured beside predicted values."""

from typing import Any

from nicegui import ui

STATUS = (
    ("fails", "#d6453d", "path://M0 0L10 10M10 0L0 10"),
    ("thin", "#b8860b", "triangle"),
    ("not checked", "#7d8790", "emptyCircle"),
    ("ok", "#2e8b57", "circle"),
)
"""Word, colour and shape of each rank of a status."""

_TEXT = {"color": "#51616d"}  # turned over in the dark by the style
_AXIS = {
    "axisLabel": _TEXT,
    "nameTextStyle": _TEXT,
    "nameLocation": "middle",
    "splitLine": {"show": True, "lineStyle": {"opacity": 0.3}},
}


def points(name: str, symbol: str, size: int, data: list[Any], **more: Any) -> dict[str, Any]:
    """Series of single points."""
    return {
        "type": "scatter",
        "name": name,
        "symbol": symbol,
        "symbolSize": size,
        "data": data,
    } | more


def by_status(places: list[tuple[int, Any]], size: int) -> list[dict[str, Any]]:
    """Series of points by the rank of their status."""
    found = []
    for rank, (word, colour, symbol) in enumerate(STATUS):
        data = [place for at, place in places if at == rank]
        style = {"color": colour, "borderColor": colour, "borderWidth": 2}
        if data:
            found.append(points(word, symbol, size, data, itemStyle=style))
    return found


def axis(name: str = "", words: list[str] | None = None) -> dict[str, Any]:
    """An axis of numbers, or of words."""
    if words is not None:
        return _AXIS | {"type": "category", "data": words, "room": 170}
    return _AXIS | {
        "type": "value",
        "min": "dataMin",
        "max": "dataMax",
        "name": name,
        "nameGap": 44,
    }


def chart(
    about: str, x: dict[str, Any], y: dict[str, Any], series: list[Any], click: Any = None
) -> Any:
    """A chart with its legend; `about` says to a screen reader what it shows."""
    options = {
        "animation": False,
        "legend": {
            "top": 0,
            "textStyle": _TEXT,
            "type": "scroll",
            "itemHeight": 10,
            "itemWidth": 22,
        },
        "grid": {"left": y.get("room", 60), "right": 20, "top": 40, "bottom": 50},
        "xAxis": x | {"nameGap": 28},
        "yAxis": y,
        "series": series,
    }
    return ui.echart(options, on_point_click=click).props(f'role=img aria-label="{about}"')
