"""A test by the tester's own word: good, or not. No figure backs it, and the verdict says so."""

from maintenance.calc.bench import DEPTH_WORDS, Depth, Finding, Judgement, Verdict


def judge_word(*, word: bool | None, depth: Depth, note: str = "", symptom: str = "") -> Judgement:
    """Return what the tester's word comes to; nobody having said is no verdict. `symptom` is what a bad one does."""
    if word is None:
        return Judgement(verdict=Verdict.CANNOT_TELL, reasons=("Nobody said whether it is good: say good or not good.",))
    unmeasured = ("No reading was written down: the verdict is the tester's word.",)
    if word:
        return Judgement(
            verdict=Verdict.PASS,
            reasons=(f"The tester says it is good, by {DEPTH_WORDS[depth]}.",),
            not_measured=unmeasured,
        )
    said = "; ".join(part for part in (symptom, " ".join(note.split()).rstrip(".")) if part)
    return Judgement(
        verdict=Verdict.FAIL,
        findings=(
            Finding(
                name="word",
                title=f"Not good: {symptom}" if symptom else "Not good",
                text=f"The tester says it is not good{f': {said}' if said else ', without saying what is wrong'}.",
                repair="" if said else "Measure it to find what is wrong.",
            ),
        ),
        reasons=(f"By {DEPTH_WORDS[depth]}.",),
        not_measured=unmeasured,
    )
