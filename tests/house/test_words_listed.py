"""`make words` lists what is said on screens, papers and by commands."""

import re
import runpy
from pathlib import Path

LISTED = runpy.run_path(str(Path(__file__).resolve().parents[2] / "docs" / "list_words.py"))


def test_screens_papers_and_commands_are_all_in_the_list():
    files = {str(path): strings for _, path, strings in LISTED["listed"]()}
    assert "Margins, tightest first" in files["web/templates/_answer.html"]
    assert any("paired devices" in x for x in files["cli/__init__.py"])  # a command's help
    assert any("outside limits" in x for strings in files.values() for x in strings)
    says = re.compile(r">[^<{}]*[A-Za-z]{3}[^<{}]*<")  # words between two tags
    templates = {f"web/templates/{p.name}" for p in (LISTED["SOURCE"] / "web/templates").glob("*.html") if says.search(p.read_text())}
    assert len(templates) > 10 and templates <= files.keys()


def test_no_code_is_taken_for_words(tmp_path):
    path = tmp_path / "x.py"
    path.write_text('"""Not said."""\nx = "some_name"\ny = f"{x} lb over the limit"\nz = "Said to the pilot."\n')
    assert LISTED["of_python"](path) == ["{x} lb over the limit", "Said to the pilot."]
