"""three.js for the viewer, from the copy that NiceGUI ships: none is kept here, and no Node is needed."""

from __future__ import annotations

import re
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

# What the viewer is handed.
_NAMES = ("THREE", "OrbitControls")
INSTALL = "pip install nicegui"


def bundle_path() -> Path | None:
    """Where NiceGUI's scene bundle lies; None without NiceGUI, or where its copy is another than is known."""
    # Finding it must not import NiceGUI, which takes a second and starts an application.
    spec = find_spec("nicegui")
    if spec is None or spec.origin is None:
        return None
    path = Path(spec.origin).parent / "elements" / "scene" / "dist" / "index.js"
    return path if path.is_file() else None


def viewer_script() -> str | None:
    """Give three.js and the viewer as one script that needs no other file.

    Returns
    -------
    str or None
        Defines ``openViewer`` and ``library``; None where three.js is not at hand.
    """
    path = bundle_path()
    if path is None:
        return None
    bundle = as_script(path.read_text(encoding="utf-8"))
    if bundle is None:
        return None
    own = files("orient.show.viewer").joinpath("viewer.js").read_text(encoding="utf-8")
    return f"{bundle}\n{re.sub(r'^export ', '', own, flags=re.MULTILINE)}"


def as_script(module: str) -> str | None:
    """Turn a bundled module, whose last statement exports its names, into a script that defines ``library``.

    Parameters
    ----------
    module : str
        Source of the module.

    Returns
    -------
    str or None
        None where it does not export what the viewer needs.

    Examples
    --------
    >>> as_script("const a = 1, b = 2;export{a as THREE, b as OrbitControls};")
    'const library = (() => {const a = 1, b = 2;return {THREE: a, OrbitControls: b};})();'
    """
    found = re.search(r"export\s*\{([^{}]*)\}\s*;?\s*(?://[^\n]*\s*)*$", module)
    if found is None or re.search(r"^\s*import\b", module, flags=re.MULTILINE):
        return None
    exported = {}
    for one in found.group(1).split(","):
        name, _, known_as = (word.strip() for word in one.strip().partition(" as "))
        exported[known_as or name] = name
    if not all(name in exported for name in _NAMES):
        return None
    handed = ", ".join(f"{name}: {exported[name]}" for name in _NAMES)
    # In a function of its own, the bundle's thousand short names stay its own.
    return f"const library = (() => {{{module[: found.start()]}return {{{handed}}};}})();"
