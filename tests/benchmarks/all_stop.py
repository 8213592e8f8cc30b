"""All stop with 500 outputs on a link at the pace of the track: from the press to the last guarded command, and to all.

Run it: `python tests/benchmarks/all_stop.py`. A real show, its link's threads and a socket, against the stand-in.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "live"))

from bench_crossing import QUICK, STATION, Bench, FarEnd

from engine.events import AllStop, StartScene
from wayside.project import load

GUARDED, OTHERS = 40, 460
S = 1_000_000


def written(folder: Path) -> Path:
    outputs = "".join(
        f"  guard-{n}: {{kind: lamp, link: main, address: {n + 1}, safe: on}}\n" for n in range(GUARDED)
    ) + "".join(f"  lamp-{n}: {{kind: lamp, link: main, address: {n + 101}}}\n" for n in range(OTHERS))
    link = "links:\n  main: {kind: serial text, dialect: late, start-up: 150 ms}\n"
    (folder / "layout.yaml").write_text(f"layout: many\n{link}outputs:\n{outputs}")
    lamps = ",\n    ".join(f"lamp-{n}" for n in range(OTHERS))
    guards = ",\n    ".join(f"guard-{n}" for n in range(GUARDED))
    scene = (
        f"group lamps: {lamps}\ngroup guards: {guards}\nscene all-on\n"
        "    when stopped\n        turn on guards\n        turn off lamps\n"
        "    turn on lamps\n    turn off guards\n    wait 5 min\n"
    )
    (folder / "a.scene").write_text(scene)
    return folder


async def measured(folder: Path) -> None:
    project = load([written(folder)])
    assert not project.errors, project.errors[:2]
    far = FarEnd("tcp", folder / "port", STATION)
    far.power()
    bench = Bench(project, far, [far.url], QUICK)
    bench.start()
    try:
        await bench.until(lambda: not bench.show.waiting and bench.links.runs[0].idle, 120)
        bench.show.inputs.put(StartScene("all-on"))
        await bench.until(lambda: bench.runs("all-on"))
        await asyncio.sleep(1)
        await bench.until(lambda: bench.links.runs[0].idle, 120)
        pressed_us = far.now_us()
        bench.show.inputs.put(AllStop())
        await asyncio.sleep(1)
        await bench.until(lambda: bench.links.runs[0].idle, 120)
        told = [one for one in far.log(pressed_us) if one.thing.startswith("accessory")]
        guarded = [one.at_us for one in told if int(one.thing.split()[1]) <= GUARDED]
        others = [one.at_us for one in told if int(one.thing.split()[1]) > GUARDED]
        print(f"{len(guarded)} guarded commands, the last {(max(guarded) - pressed_us) / S:.2f} s after the press")
        print(f"{len(told)} commands in all, the last {(max(o for o in (*guarded, *others)) - pressed_us) / S:.2f} s")
        print(f"others told before the last guarded one: {sum(at_us < max(guarded) for at_us in others)}")
    finally:
        bench.task and bench.task.cancel()
        bench.links.stop()
        far.stop()


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(measured(Path(folder)))


if __name__ == "__main__":
    main()
