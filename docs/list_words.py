"""Every string of every screen, paper and command in one file, so that the wording can be read in one go (`make words`).

Read from the sources, not from runs: the texts of templates, the string constants of the rooms that speak (f-strings with
their places in braces), the help of the commands, the strings of scripts, of Typst papers and of the data's sentences.
"""

import ast
import re
import sys
import tomllib
from html.parser import HTMLParser
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "src" / "ownship"
SPEAKING = re.compile(r"[A-Za-z]{2,}[^A-Za-z]+[A-Za-z]|^[A-Z][a-z]{2,}")
CODE = re.compile(r"^[a-z0-9_./:#%@\[\]{}()<>*+=^$|\\-]+$|^[A-Z0-9_]+$")


class Texts(HTMLParser):
    """The words of a template: text, and the attributes that are read aloud or shown."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_data(self, data):
        self.found += [line.strip() for line in data.splitlines() if line.strip()]

    def handle_starttag(self, tag, attrs):
        self.found += [v for k, v in attrs if k in ("aria-label", "title", "placeholder", "alt") and v and SPEAKING.search(v)]


def of_template(path):
    reader = Texts()
    reader.feed(re.sub(r"\{%.*?%\}|\{#.*?#\}", "\n", path.read_text(), flags=re.S))
    return reader.found


def of_python(path):
    tree = ast.parse(path.read_text())
    documented = [n.body[0].value for n in ast.walk(tree)
                  if isinstance(n, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and n.body
                  and isinstance(n.body[0], ast.Expr) and isinstance(n.body[0].value, ast.Constant)]
    helps = {id(d): not (path.parent.name == "cli" and d is not (tree.body[0].value if tree.body else None)) for d in documented
             if isinstance(tree.body[0], ast.Expr)}
    within = {id(part) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for part in ast.walk(n) if part is not n}
    found = []
    for node in ast.walk(tree):
        if id(node) in within or helps.get(id(node)):
            continue
        if isinstance(node, ast.JoinedStr):
            found.append("".join(p.value if isinstance(p, ast.Constant) else "{" + ast.unparse(p.value) + "}" for p in node.values))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.append(node.value)
    return [" ".join(x.split()) for x in found if SPEAKING.search(x) and not CODE.match(x)]


def of_script(path):
    return [m[1] or m[2] for m in re.finditer(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`', path.read_text())
            if SPEAKING.search(m[1] or m[2] or "") and not CODE.match(m[1] or m[2])]


def of_paper(path):
    return [x.strip() for x in re.findall(r'"([^"\n]+)"|\[([^\[\]\n]+)\]', path.read_text()) for x in x if x and SPEAKING.search(x)]


def of_data(path):
    def walk(value):
        if isinstance(value, str):
            yield value
        for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            yield from walk(inner)
    return [" ".join(x.split()) for x in walk(tomllib.loads(path.read_text())) if SPEAKING.search(x) and not CODE.match(x)]


KINDS = (("Screens", "web/templates/*.html", of_template), ("Scripts", "web/frontend/*.ts", of_script),
         ("Commands", "cli/*.py", of_python), ("Papers", "papers/*.typ", of_paper), ("Papers", "papers/*.py", of_python),
         ("Answers and refusals", "**/*.py", of_python), ("Data", "data/**/*.toml", of_data))


def listed():
    """(heading, file, strings) of every file that speaks, each file once."""
    seen = set()
    for heading, pattern, read in KINDS:
        for path in sorted(SOURCE.glob(pattern)):
            if path not in seen and "node_modules" not in path.parts and (strings := list(dict.fromkeys(read(path)))):
                seen.add(path)
                yield heading, path.relative_to(SOURCE), strings


def main(target):
    lines, last = [], ""
    for heading, path, strings in listed():
        lines += [f"\n# {heading}\n"] * (heading != last) + [f"\n## {path}", *strings]
        last = heading
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text("\n".join(lines).strip() + "\n")
    print(f"{sum(1 for x in lines if x and not x.startswith(('#', chr(10))))} strings in {target}")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "build" / "words.txt")
