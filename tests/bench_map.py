"""The map page's size and speed at 10,000 and 100,000 parcels, beside the same parcels on a plain folium map.

Ways that ``bench.py`` times in processes of their own. Both pages open from disk in the same headless browser, without
a network; the plain one is handed Leaflet and nothing else of what it asks for. Idle is from the start of the
navigation until everything is painted, two frames have passed, and the browser has nothing left to do.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from statistics import median
from typing import Any

from bench_barrels import with_weather
from browser_pages import CHROMIUM, FLAGS

SIZES = (10_000, 100_000)
MOST_BYTES_A_PARCEL = 60
MOST_WRITE_S = {10_000: 0.5, 100_000: 3.0}
MOST_IDLE_S = {10_000: (1.0, 3.0), 100_000: (1.5, 5.0)}
MOST_FRAME_MS = 33
"""Two refreshes of a screen with 60 a second; browsers count them as 33.3 or 33.4, so it is compared in whole ones."""
THROTTLE = 4
TIMES = 5
"""How often each is timed, once warm; the middle one is told, since one hiccup would be the whole answer."""
IDLE = """async () => {
    const frame = () => new Promise(requestAnimationFrame);
    const ours = document.getElementById("page-values") !== null;
    while (ours && !document.querySelector("html[data-ready]:not([data-painting])")) await frame();
    await frame();
    await frame();
    await new Promise(done => requestIdleCallback(done));
    return performance.now() / 1000;
}"""
FRAMES = """() => {
    window.slowest = 0;
    let last = performance.now();
    const next = now => {
        window.slowest = Math.max(window.slowest, now - last);
        last = now;
        requestAnimationFrame(next);
    };
    requestAnimationFrame(now => { last = now; requestAnimationFrame(next); });
}"""


def map_write(folder: Path) -> dict[str, Any]:
    """Write the map of the town in ``folder`` from its result, which is made first where there is none."""
    from harvest.result import Result
    from harvest.show.map import write_map

    result = Result.at(_result(folder))
    seconds = _middle(lambda: write_map(result, folder, 200_000, 5_000))
    text = (folder / "map.html").read_text(encoding="utf-8")
    return {"seconds": seconds} | _packed(text, len(result.table("parcels", ["parcel_id"])))


def map_open(folder: Path) -> dict[str, Any]:
    """Open that map: idle, idle on a slow machine, and the slowest frame while the pointer crosses it."""
    return _opened(folder / "map.html")


def folium_write(folder: Path) -> dict[str, Any]:
    """The obvious script: every parcel as GeoJSON with a style function, a tooltip and a pop-up."""
    import folium

    from harvest.result import Result
    from harvest.show.measures import classes_of

    parcels = Result.at(_result(folder)).table("parcels")
    names = [
        "parcel_id",
        "address",
        "runoff_l_yr",
        "capturable_l_yr",
        "yield_l_yr",
        "suggested_barrels",
        "rank",
    ]
    classes = classes_of(parcels, "us")

    def write() -> None:
        rows = parcels[[*names, "geometry"]].assign(
            colour=[classes.colours[max(0, n - 1)] for n in classes.numbers]
        )
        rows = rows.to_crs(4326)
        west, south, east, north = rows.total_bounds
        drawing = folium.Map(location=[(south + north) / 2, (west + east) / 2], zoom_start=14, tiles=None)
        folium.GeoJson(
            rows,
            style_function=lambda one: {
                "fillColor": one["properties"]["colour"],
                "weight": 1,
                "fillOpacity": 0.9,
            },
            tooltip=folium.GeoJsonTooltip(["address", "capturable_l_yr"]),
            popup=folium.GeoJsonPopup(names),
        ).add_to(drawing)
        drawing.save(folder / "plain.html")

    return {"seconds": _middle(write), "mb": (folder / "plain.html").stat().st_size / 1e6}


def folium_open(folder: Path) -> dict[str, Any]:
    """Open the plain map."""
    return _opened(folder / "plain.html")


def map_real(folder: Path) -> dict[str, Any]:
    """The map of real, irregular parcels: Bubenec in Prague, as momepy carries it."""
    from test_real_data import prague_project

    from harvest.project import read_project
    from harvest.run import run

    place = folder / "real"
    place.mkdir(exist_ok=True)
    result = run(read_project(prague_project(place)))
    parcels = result.table("parcels", ["parcel_id", "geometry"])
    text = (result.folder / "map.html").read_text(encoding="utf-8")
    return _packed(text, len(parcels)) | {"corners": float(parcels.geometry.count_coordinates().mean())}


WAYS = {
    "map_real": map_real,
    "map_write": map_write,
    "map_open": map_open,
    "folium_write": folium_write,
    "folium_open": folium_open,
}


def report(
    timed: Callable[[str, Path], dict[str, Any]], said: Callable[..., None], towns: dict[int, Path]
) -> None:
    """Everything that is said of maps; ``towns``: the folders of the towns, by parcels."""
    plain = timed("folium_write", towns[10_000]) | {"opened": timed("folium_open", towns[10_000])}
    for size, folder in towns.items():
        wrote, opened = timed("map_write", folder), timed("map_open", folder)
        said(
            f"map of {wrote['parcels']:,} parcels, bytes a parcel with roof and attributes",
            f"{wrote['bytes_a_parcel']:.1f} (the page {wrote['mb']:.2f} MB)",
            wrote["bytes_a_parcel"] <= MOST_BYTES_A_PARCEL,
            str(MOST_BYTES_A_PARCEL),
        )
        said(
            f"map of {wrote['parcels']:,} parcels, write",
            f"{wrote['seconds']:.2f} s, {wrote['seconds'] / plain['seconds']:.2f} of plain folium at 10,000",
            wrote["seconds"] <= MOST_WRITE_S[size],
            f"{MOST_WRITE_S[size]} s",
        )
        most, most_slow = MOST_IDLE_S[size]
        said(
            f"map of {wrote['parcels']:,} parcels, idle after opening, {THROTTLE} times throttled",
            f"{opened['idle_s']:.2f} s, {opened['slow_idle_s']:.2f} s "
            f"({opened['idle_s'] / plain['opened']['idle_s']:.2f} of plain folium at 10,000)",
            opened["idle_s"] <= most and opened["slow_idle_s"] <= most_slow,
            f"{most} s, {most_slow} s",
        )
        said(
            f"map of {wrote['parcels']:,} parcels, slowest frame under the pointer",
            f"{opened['frame_ms']:.0f} ms",
            round(opened["frame_ms"]) <= MOST_FRAME_MS,
            f"{MOST_FRAME_MS} ms",
        )
    real = timed("map_real", towns[min(towns)])
    print(
        f"        {real['parcels']:,} real plots of Bubenec, {real['corners']:.0f} corners each: "
        f"{real['bytes_a_parcel']:.1f} bytes a plot with its buildings and figures"
    )
    opened = plain["opened"]
    print(
        f"        plain folium at 10,000: {plain['mb']:.1f} MB, write {plain['seconds']:.2f} s, "
        f"idle {opened['idle_s']:.2f} s and {opened['slow_idle_s']:.2f} s, frame {opened['frame_ms']:.0f} ms"
    )


def _result(folder: Path) -> Path:
    """The result of the town in ``folder``: of a whole run with weather, without further tables."""
    from harvest.project import read_project
    from harvest.run import run

    found = folder / f"{folder.name}-out"
    if not (found / "run.json").exists():
        project = with_weather(folder)
        text = project.read_text().replace("[outputs]\n", "[outputs]\nformats = []\n")
        project.write_text(text)
        run(read_project(project))
    return found


def _packed(page: str, parcels: int) -> dict[str, Any]:
    """How much of ``page`` its parcels and their roofs are."""
    packed = dict(
        re.findall(r'<script type="application/octet-stream" id="(\w+)-data">([^<]*)</script>', page)
    )
    return {
        "parcels": parcels,
        "bytes_a_parcel": sum(len(packed[name]) for name in ("parcels", "roofs")) / parcels,
        "mb": len(page.encode()) / 1e6,
    }


def _middle(write: Callable[[], object]) -> float:
    """Seconds that ``write`` takes: the middle one of several times, after once to warm up."""
    write()
    seconds = []
    for _ in range(TIMES):
        begun = time.perf_counter()
        write()
        seconds.append(time.perf_counter() - begun)
    return median(seconds)


def _opened(path: Path) -> dict[str, Any]:
    """Seconds until idle, as it is and throttled, and the slowest frame [ms] while the pointer crosses the map."""
    from playwright.sync_api import Route, sync_playwright

    leaflet = resources.files("js_lib_leaflet") / "static" / "js_lib_leaflet"

    def answer(route: Route) -> None:
        name = route.request.url.rsplit("/", 1)[-1]
        if name in ("leaflet.js", "leaflet.css"):
            route.fulfill(body=(leaflet / name).read_bytes())
        else:
            route.abort()

    found: dict[str, list[float]] = {"idle_s": [], "slow_idle_s": [], "frame_ms": []}
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, headless=True, args=FLAGS)
        for name, rate in [("warm", 1)] + TIMES * [("idle_s", 1), ("slow_idle_s", THROTTLE)]:
            context = browser.new_context(viewport={"width": 1366, "height": 768}, bypass_csp=True)
            context.route(re.compile("^https?://"), answer)
            page = context.new_page()
            page.set_default_timeout(120_000)
            context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": rate})
            page.goto(path.as_uri(), wait_until="load")
            idle = float(page.evaluate(IDLE))
            if name in found:
                found[name].append(idle)
            if name == "idle_s":
                page.mouse.move(100, 300)
                page.evaluate(FRAMES)
                for step in range(120):
                    page.mouse.move(100 + 5 * step, 300 + (step % 40) * 5)
                found["frame_ms"].append(float(page.evaluate("window.slowest")))
            context.close()
        browser.close()
    return {name: median(values) for name, values in found.items()}
