"""The card says what it was matched to (an invented aeroplane)."""


from commands import run

from ownship.questions.reading import demo_text


def record(tmp_path, **change):
    """The demo's record in a folder, without its book."""
    text = demo_text("camas160.toml")
    start, end = text.index("[book]"), text.index("[electrical]")
    text = text[:start] + text[end:]
    for old, new in change.items():
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "plane.toml"
    path.write_text(text)
    return path


def test_without_book_rows_the_card_says_priors_alone(capsys, tmp_path):
    code, out, _ = run(capsys, "predict", str(record(tmp_path)), "--card")
    assert code == 0
    assert "matched to nothing: priors alone" in out.splitlines()[0]


def test_with_own_rows_only_it_says_so(capsys, tmp_path):
    path = record(tmp_path)
    (tmp_path / "own.csv").write_text("kind,pressure_altitude_ft,oat_c,weight_lb,value\nrate_of_climb_fpm,4000,7,2300,600\n")
    path.write_text(path.read_text() + '\n[book]\nown = "own.csv"\ntechnique = "short field"\nwind_in_rows = false\n')
    code, out, _ = run(capsys, "predict", str(path), "--card")
    assert code == 0
    assert "matched to your flights, no book rows" in out.splitlines()[0]
    assert "rpm by the panel" in out
