"""The part on the bed, as an element of the page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

# Registers the bundle that three.js comes in.
import nicegui.elements.scene  # noqa: F401
from nicegui import ui
from nicegui.element import Element
from nicegui.events import GenericEventArguments

from orient.desk.answers import Colours, Holes, Picked, Pose
from orient.desk.shelf import Shelf

# What is shown of the part's faces, and in which words.
WAYS = {
    "overhang": "what needs holding up",
    "features": "hard features",
    "thickness": "wall thickness",
    "safety": "safety factor",
}


class PartScene(Element, component="scene.js", esm={"orient-viewer": "../show/viewer"}):
    """The part in 3D; what it draws is fetched from a shelf, and only words pass through the socket.

    Parameters
    ----------
    shelf : Shelf
        Where meshes and colours are laid for the browser.
    quiet : bool
        Leave out the key of colours and the words under the pointer.
    hint : str
        What is written under the part until a face is pointed at.
    """

    def __init__(self, shelf: Shelf, *, quiet: bool = False, hint: str = "") -> None:
        super().__init__()
        self.shelf = shelf
        self._props["quiet"] = quiet
        self._props["hint"] = hint
        self.on("trouble", trouble)

    def on_ready(self, handler: Callable[[], Any]) -> None:
        """Call when it has come into view for the first time; what it was told before then is lost."""
        self.on("ready", lambda: handler(), args=[])

    def on_picked(self, handler: Callable[[dict[str, Any]], Any]) -> None:
        """Call with the point, the triangle and the kind of what was clicked."""
        self.on("picked", lambda event: handler(_told(event)))

    def on_turned(self, handler: Callable[[dict[str, Any]], Any]) -> None:
        """Call with the build direction when a hand has let go of the part."""
        self.on("turned", lambda event: handler(_told(event)))

    def open(self, scene: bytes, *, waits: bool = False) -> None:
        """Show a part as it lies in its file, or, where it waits, not before it is shown in a pose."""
        self.run_method("open", self.shelf.put(scene, "application/json"), waits)

    def with_holes(self, holes: Holes) -> None:
        """Let a hand point at holes."""
        self.run_method("withHoles", self.shelf.put(holes.of_face), list(holes.holes))

    def add(self, pose: Pose) -> None:
        """Make a pose known, to be shown at once when it is asked for."""
        files = {
            "columns": self.shelf.put(pose.columns),
            "overhang": self.shelf.put(pose.overhang.code),
            "hard": self.shelf.put(pose.hard.code) if pose.hard else None,
            "owner": self.shelf.put(pose.owner) if pose.owner else None,
        }
        keys = {"overhang": pose.overhang.key, "hard": pose.hard.key if pose.hard else None}
        self.run_method("addPose", pose.lying, files, keys)

    def colour(self, kind: str, number: int | None, colours: Colours) -> None:
        """Make a way of colouring known, of one pose or of all."""
        self.run_method("addColours", kind, number, colours.key, self.shelf.put(colours.code))

    def show(self, number: int, paint: str) -> None:
        """Turn the part over into a pose that is known."""
        self.run_method("show", number, paint)

    def paint(self, kind: str) -> None:
        """Colour by one of the ways that are known."""
        self.run_method("paint", kind)

    def arrows(self, arrows: Sequence[dict[str, Any]]) -> None:
        """Draw loads."""
        self.run_method("arrows", list(arrows))

    def tint(self, marks: Sequence[tuple[str, Picked]]) -> None:
        """Tint the faces that the brief names: ``fixed``, ``load`` or ``matters``."""
        told = [{"kind": kind, "faces": self.shelf.put(one.faces.tobytes())} for kind, one in marks]
        self.run_method("mark", told)

    def mode(self, name: str) -> None:
        """What a click or a drag does.

        Parameters
        ----------
        name : str
            ``look`` turns the view, ``hand`` the part; ``any`` takes a face or a hole, ``face`` a face,
            ``point`` a point.
        """
        self.run_method("setMode", name)

    def see(self, view: str) -> None:
        """Look from one of the viewer's sides."""
        self.run_method("see", view)

    def go_to(self, feature: dict[str, Any]) -> None:
        """Take the camera to a hard feature or another place, and draw its edges."""
        self.run_method(
            "goTo",
            feature["place"],
            feature["looks"],
            feature["reach"],
            feature["id"],
            feature.get("lines", []),
            feature.get("sight", feature["place"]),
        )

    def follow(self, other: PartScene) -> None:
        """Let two scenes be seen from the same side."""
        self.run_method("follow", other.html_id)


def trouble(event: GenericEventArguments) -> None:
    """Say in the page that the browser could not draw something."""
    ui.notify(f"The picture could not be drawn: {event.args}", timeout=0, close_button="Close")


def _told(event: GenericEventArguments) -> dict[str, Any]:
    args = event.args
    return dict(args[0] if isinstance(args, list) else args)
