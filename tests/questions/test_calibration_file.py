"""A calibration file edited by hand: one sentence that names what cannot be, whatever was written there."""

import copy
import json

import pytest
from commands import run

from ownship.errors import UnreadableFile
from ownship.questions.calibrating import calibrate
from ownship.questions.calibration_file import from_json, to_json


@pytest.fixture(scope="module")
def good():
    return json.loads(json.dumps(to_json(calibrate("demo"))))


def put(data, path, value):
    *way, last = path
    for key in way:
        data = data[key]
    data[last] = value


NAN = float("nan")
CASES = [(("seed",), -1, "seed"), (("seed",), 1.5, "seed"), (("seed",), 10**400, "seed"), (("rows",), float("inf"), "rows"),
         (("book", "rows"), float("inf"), "rows"), (("hash",), [1], "hash"), (("discrepancy",), {}, "discrepancy"),
         (("discrepancy", "foo"), {"relative": 0, "absolute": 0}, "discrepancy"),
         (("discrepancy", "static_rpm", "relative"), NAN, "relative"), (("discrepancy", "static_rpm", "absolute"), -3, "absolute"),
         (("discrepancy", "static_rpm", "absolute"), float("inf"), "absolute"), (("book", "mean", 0), 1e9, "mean"),
         (("book", "mean", 0), 4.6, "mean"), (("book", "mean", 0), NAN, "mean"), (("book", "covariance", 0, 5), NAN, "covariance"),
         (("book", "covariance", 0, 5), 0.5, "covariance"), (("book", "covariance", 0, 0), 1e20, "covariance"),
         (("book", "covariance", 0, 0), -1.0, "covariance"), (("book", "effective"), "many", "effective"), (("book",), None, "book"),
         (("discrepancy", "static_rpm", "absolute"), 1e300, "static_rpm: absolute"), (("book", "label"), "own", "label"),
         (("own",), [], "not a calibration file"), (("book", "mean"), "x", "not a calibration file")]


@pytest.mark.parametrize(("path", "value", "words"), CASES, ids=[f"{'.'.join(map(str, p))}={str(v)[:12]}" for p, v, _ in CASES])
def test_what_cannot_be_is_named(good, path, value, words):
    data = copy.deepcopy(good)
    put(data, path, value)
    with pytest.raises(UnreadableFile, match=words) as error:
        from_json(data, "c.json")
    assert "\n" not in str(error.value) and str(error.value).startswith("c.json")


def test_a_covariance_narrower_than_any_fit_and_a_book_as_own_are_named(good):
    data = copy.deepcopy(good)
    size = len(data["parameters"])
    data["book"]["covariance"] = [[1e-30 * (i == j) for i in range(size)] for j in range(size)]
    with pytest.raises(UnreadableFile, match="covariance"):
        from_json(data, "c.json")
    with pytest.raises(UnreadableFile, match=r"label \(own\)"):
        from_json(good | {"own": good["book"]}, "c.json")


def test_what_was_written_is_read_back_whatever_the_order_of_its_kinds(good):
    data = copy.deepcopy(good)
    data["discrepancy"] = dict(reversed(data["discrepancy"].items()))
    back = from_json(data, "c.json")
    assert to_json(back) == good and list(back.book.discrepancy) == list(good["discrepancy"])


@pytest.mark.parametrize("text", ["[" * 100_000, '{"schema": ' + "1" * 5000 + "}", '{"a":' * 50_000])
def test_texts_that_no_reader_takes_are_one_sentence(capsys, tmp_path, text):
    (tmp_path / "c.json").write_text(text)
    code, out, err = run(capsys, "predict", "demo", "--card", "--calibration", str(tmp_path / "c.json"))
    assert code == 2 and out == "" and err.count("\n") == 1 and "not JSON" in err
