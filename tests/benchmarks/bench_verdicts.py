"""How fast leads are judged: full verdicts with findings, figures and limits, on one core of this machine.

Prints one row a figure: name, figure, asked for. Run it as `python tests/benchmarks/bench_verdicts.py`.
"""

import json
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RUNS = 7


def main() -> None:
    sys.path.insert(0, str(ROOT))
    from maintenance.calc.bench import PairReading
    from maintenance.calc.bench_limits import BenchLimits
    from maintenance.calc.wiring import Lead, judge
    from maintenance.calc.wirings import Expect, wiring_read

    rows = {row["key"]: row for row in json.loads((ROOT / "fixtures" / "wirings.json").read_text())}
    limits = BenchLimits()

    def readings(lead: Lead, good: float, *, end_to_end: bool, swap: dict[str, str] | None = None) -> list[PairReading]:
        made = []
        for a, b, _ in lead.wiring.matrix():
            if end_to_end and a[0] == b[0]:
                continue
            joined = lead.wiring.expected(a, (swap or {}).get(b, b)).kind is Expect.JOINED
            made.append(PairReading(a=a, b=b, ohms=good) if joined else PairReading(a=a, b=b, above_ohms=2e7))
        return made

    def row(name: str, asked: str, lead: Lead, given: list[PairReading], count: int) -> None:
        def work() -> None:
            for _ in range(count):
                judge(lead=lead, readings=given, limits=limits, null_ohms=0.0, temperature_c=20.0)

        work()
        took = statistics.median(_timed(work) for _ in range(RUNS))
        figure = f"{count / took:,.0f}/s" if count > 1 else f"{took * 1000:.1f} ms"
        print(f"{name}\t{figure}\t{asked}")

    mic = Lead(wiring=wiring_read(ends=rows["three-pin"]["ends"], nets=rows["three-pin"]["nets"]), length_m=10, core_awg=24)
    legs = {"B2": "B3", "B3": "B2"}
    row("verdicts, three-pin lead, nine pairs", "over 5,000/s", mic, readings(mic, 0.85, end_to_end=True), 2000)
    row("verdicts, three-pin lead, all 28 pairs", "over 5,000/s", mic, readings(mic, 0.85, end_to_end=False), 1000)
    row("verdicts, three-pin lead, legs swapped", "over 5,000/s", mic, readings(mic, 0.85, end_to_end=False, swap=legs), 1000)
    wiring = wiring_read(ends=rows["multicore"]["ends"], nets=rows["multicore"]["nets"], channels=24)
    core = Lead(wiring=wiring, length_m=50, core_mm2=0.14)
    moved = {f"B{a}.{pin}": f"B{b}.{pin}" for a, b in ((3, 7), (7, 3)) for pin in "123"} | {"B14.2": "B14.3", "B14.3": "B14.2"}
    row("verdict, 24 channels, 72 x 72 pairs, good", "under 50 ms", core, readings(core, 6.8, end_to_end=True), 1)
    row("verdict, 24 channels, 72 x 72 pairs, bad", "under 50 ms", core, readings(core, 6.8, end_to_end=True, swap=moved), 1)
    row("verdict, 24 channels, all 10,296 pairs", "-", core, readings(core, 6.8, end_to_end=False), 1)


def _timed(work: Callable[[], None]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


if __name__ == "__main__":
    main()
