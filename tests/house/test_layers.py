"""The drawing is tested: ARCHITECTURE.md's arrow line against every import in src/ownship."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "ownship"


def arrow_line() -> list[list[str]]:
    line = next(x for x in (ROOT / "ARCHITECTURE.md").read_text(encoding="utf-8").splitlines()
                if x.startswith("cli ->"))
    return [[room.strip() for room in rank.split(",")] for rank in line.split("->")]


def ranks() -> dict[str, int]:
    line = arrow_line()
    return {room: len(line) - i for i, rank in enumerate(line) for room in rank}


def room_of(path: Path) -> str:
    return path.relative_to(SOURCE).parts[0].removesuffix(".py")


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the room"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("ownship.")}
    return found


def breaches(files: list[tuple[str, str, set[str]]]) -> list[str]:
    rank = ranks()
    return [f"{where} may not import {target}" for where, room, targets in files for target in sorted(targets)
            if target != room and target not in ("__version__",) and rank[target] >= rank[room]]


def source_files() -> list[tuple[str, str, set[str]]]:
    return [(str(p.relative_to(SOURCE)), room_of(p), imports_of(p)) for p in sorted(SOURCE.rglob("*.py"))
            if room_of(p) not in ("__init__", "__main__", "data")]


def test_every_room_stands_in_the_drawing():
    assert {room for _, room, _ in source_files()} <= set(ranks())


def test_every_drawn_room_exists():
    assert set(ranks()) <= {room for _, room, _ in source_files()}


def test_arrows_point_down():
    assert breaches(source_files()) == []


def test_the_test_itself_sees_a_breach():
    assert breaches([("performance/cruise.py", "performance", {"flight", "units"})]) == [
        "performance/cruise.py may not import flight"]


def test_only_questions_and_above_touch_clock_chance_disk_and_network():
    doors = {"questions", "web", "cli", "provenance"}
    forbidden = {"time", "random", "secrets", "socket", "urllib", "http", "requests", "pathlib", "os", "shutil", "tempfile",
                 "platformdirs", "sqlite3"}
    allowed = {"world/aerodrome_database.py": {"sqlite3"}, "world/aerodromes.py": {"sqlite3"}}
    seen = []
    for path in sorted(SOURCE.rglob("*.py")):
        if room_of(path) in doors:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else (
                [node.module or ""] if isinstance(node, ast.ImportFrom) else [])
            key = path.relative_to(SOURCE).as_posix()
            seen += [f"{key} imports {n}" for n in names
                     if n.split(".")[0] in forbidden - allowed.get(key, set())]
            if isinstance(node, ast.Attribute) and node.attr in ("now", "today", "utcnow"):
                seen.append(f"{key} reads the clock")
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "open":
                seen.append(f"{key} opens a file")
    assert seen == []
