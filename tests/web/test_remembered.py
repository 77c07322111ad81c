"""What the pages keep in mind: the same values again, and never older than the record."""

import shutil

from ownship.questions.places import cache_folder
from ownship.questions.weighing_ledger import keep
from ownship.web import remembered
from ownship.web.flying import ask


def test_the_same_flight_is_assessed_once_and_another_one_anew():
    first, again, other = ask({"load0": "171 lb"}), ask({"load0": "171 lb", "theme": "night"}), ask({"load0": "172 lb"})
    assert again.answer.margins is first.answer.margins and other.answer.margins is not first.answer.margins


def test_what_is_kept_is_what_is_worked_out_anew():
    kept = ask({"load0": "173 lb"})
    remembered._assessed.clear()
    anew = ask({"load0": "173 lb"})
    assert kept.answer is not anew.answer and kept.answer == anew.answer


def test_an_aeroplane_kept_meanwhile_is_there_at_once(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    before = remembered.stamp()
    assert remembered.kept() == ()
    keep("demo", "2026-01-01")
    assert remembered.stamp() != before and remembered.kept() == ("N0160T",)


def test_another_folder_is_another_record(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "a"))
    keep("demo", "2026-01-01")
    assert remembered.kept() == ("N0160T",)
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "b"))
    assert remembered.kept() == ()


def test_an_emptied_cache_folder_loses_nothing(tmp_path, monkeypatch):
    from datetime import date

    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    keep("demo", "2026-01-01")
    toml, folder = remembered.texts("N0160T", date(2026, 7, 11))
    assert folder.is_relative_to(cache_folder())
    shutil.rmtree(folder)
    assert remembered.texts("N0160T", date(2026, 7, 11)) == (toml, folder) and folder.exists()
