"""Make 1,000 labels as one PDF: seconds, size, memory, and how many times the cost of their matrices. Run as a module."""

import random
import resource
import statistics
import time
from io import BytesIO

from inventory.calc import codes, label_drawings, labels
from inventory.calc.label_sheets import STOCKS
from inventory.pdf.sheets import sheets_pdf

COUNT, RUNS = 1_000, 3


def main() -> None:
    minted = [codes.mint(random.Random(number).randrange) for number in range(COUNT)]
    stock = STOCKS["a4-3x8"]
    for name, address in (("bare code", ""), ("address", "https://gear.example.org")):
        payloads = [labels.payload_of(code, address) for code in minted]
        texts = [
            label_drawings.LabelText(carries=payload, code=code, name="Active direct box A", form=label_drawings.Form.BOX)
            for payload, code in zip(payloads, minted, strict=True)
        ]
        matrices = statistics.median(_seconds(lambda payloads=payloads: _matrices(payloads)) for _ in range(RUNS))
        out = BytesIO()

        def pdf(texts: list = texts) -> None:
            nonlocal out
            out = BytesIO()
            sheets_pdf(texts, stock=stock, dpi=300, out=out)

        seconds = statistics.median(_seconds(pdf) for _ in range(RUNS))
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"1,000 labels as PDF, {name}, seconds\t{seconds:.2f}\tunder 5")
        print(f"1,000 labels as PDF, {name}, times their matrices\t{seconds / matrices:.2f}\tat most 1.6")
        print(f"1,000 labels as PDF, {name}, MB\t{len(out.getvalue()) / 1e6:.2f}\tunder 1")
        print(f"1,000 labels as PDF, {name}, most memory MB\t{megabytes:.0f}\tunder 150")


def _matrices(payloads: list[labels.Payload]) -> None:
    for payload in payloads:
        labels.matrix(payload, labels.fit_symbol(payload, room_mm=33, dpi=300).choice)


def _seconds(work) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


if __name__ == "__main__":
    main()
