"""The commands about the model of the aeroplane: calibrate, predict, study modify."""

from __future__ import annotations

from json import dumps

from ownship.cli.shown import folder_of, pdf_of, target_of
from ownship.errors import BadInput


def calibrate(aeroplane: str, /, *, rows: str | None = None, own: str | None = None, where: str | None = None,
              save: str | None = None, track: str | None = None, charts: str | None = None, cards: str | None = None,
              json: bool = False) -> None:
    """Match the model to the book's rows, and to your own where they are given; or propose measurements of a GPX track.

    --charts FOLDER: how well the rows agree and what your measurements narrowed, drawn (SVG). --cards FILE.pdf: blank cards
    to fill in while measuring, with what to measure next.
    """
    from ownship.questions import calibrating
    from ownship.questions.calibration_file import to_json
    from ownship.questions.drawing import calibration_charts, write_charts
    from ownship.questions.explaining import explain, matched_lines
    from ownship.questions.places import write_whole

    if cards is not None:
        from ownship.questions.sheets import cards_to_fill

        place = pdf_of("--cards", cards)
        write_whole(place, cards_to_fill(aeroplane))
        print(f"written: {place}")
        return
    if track is not None:
        from ownship.questions.tracking import PASTE, proposals

        found = proposals(track)
        print(dumps(found) if json else "\n".join(f"{title}:\n" + "\n".join(x if title == PASTE else f"  - {x}" for x in lines)
                                                  for title, lines in found.items()))
        return
    chosen = None
    if where is not None:
        column, equals, value = where.partition("=")
        if not equals:
            raise BadInput(f"--where: {where!r} is no choice of rows; write COLUMN=VALUE, such as split=CAL.")
        chosen = (column, value)
    target, folder = target_of("--save", save), folder_of("--charts", charts)
    fitted = calibrating.calibrate(aeroplane, rows, own, chosen)
    data = to_json(fitted)
    if target is not None:
        write_whole(target, dumps(data, indent=1).encode())
    if folder is not None:
        write_charts(folder, calibration_charts(aeroplane, fitted, rows, own, chosen))
    words = explain(aeroplane, fitted, rows, own, chosen)
    if json:
        print(dumps(data | {"words": words}))
        return
    for line in matched_lines(data, save):
        print(line)
    for title, lines in words.items():
        print(f"{title}:")
        for line in lines:
            print(f"  - {line}")


def predict(aeroplane: str, /, *, rows: str | None = None, calibration: str | None = None, out: str | None = None,
            card: bool = False) -> None:
    """Append predicted, low_90 and high_90 to every row of a CSV; or the performance card (--card; --out FILE.csv or .pdf)."""
    from ownship.questions import calibrating
    from ownship.questions.places import write_whole

    if card == (rows is not None):
        raise BadInput("predict takes either --rows ROWS.csv or --card.")
    target = target_of("--out", out)
    if card and target is not None and target.suffix.lower() == ".pdf":
        from ownship.questions.sheets import performance_paper

        write_whole(target, performance_paper(aeroplane, calibration))
        return
    if rows is not None:
        text = calibrating.predict(aeroplane, rows, calibration)
    else:
        text = calibrating.performance_card(aeroplane, calibration, as_csv=bool(out and out.lower().endswith(".csv")))
    if target is None:
        print(text, end="")
    else:
        write_whole(target, text.encode())


def modify(aeroplane: str = "demo", /, *, modification: list[str] | None = None, together: bool = False,
           claim: str | None = None, charts: str | None = None, json: bool = False) -> None:
    """A modification before and after: useful load first, three answers for a propeller. No name: the whole library.

    --charts FOLDER: the differences with their bands, a drawing (SVG) each.
    """
    from ownship.papers.studies import left_out_lines, study_lines
    from ownship.questions import studying
    from ownship.questions.drawing import study_charts, write_charts
    from ownship.studies.comparison import claim as at_which

    folder = folder_of("--charts", charts)
    studies, left_out = studying.modify_or_why(aeroplane, modification or [], together)
    if folder is not None:
        write_charts(folder, study_charts(studies))
    claims = [at_which(s, claim) if claim else [] for s in studies]
    if json:
        told = studying.to_json(studies, left_out)
        print(dumps([d | {"claim": c} for d, c in zip(told, [*claims, *([] for _ in left_out)], strict=True)], ensure_ascii=False))
        return
    for s, lines in zip(studies, claims, strict=True):
        for line in study_lines(s, lines):
            print(line)
    for line in left_out_lines(left_out):
        print(line)
