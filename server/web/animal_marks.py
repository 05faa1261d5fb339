"""Which mark a chart and a table give each verdict."""

from server.drawing.marks import Verdict as Mark
from server.surveys.verdict import Verdict

MARKS: dict[Verdict, Mark] = {
    Verdict.TOO_DIM: "below",
    Verdict.IN_RANGE: "within",
    Verdict.TOO_BRIGHT: "above",
    Verdict.NOT_KNOWN: "unknown",
}
