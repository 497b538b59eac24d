"""The tree of a STEP file (AP214) in the kernel's own document: products, bodies with colours, occurrences, names.

Owns the kernel's writer and its settings. The file's text is made repeatable by `part21`; what is to stand in the tree,
and in which process it is made, is `step_plan`'s matter. Nothing is written to the disk here: a child that is stopped
leaves no file behind.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from elbowroom.model.writers import part21
from elbowroom.model.writers.atomic import OutputError
from elbowroom.model.writers.materials import Look
from elbowroom.parts.vocabulary.pose import Pose

# Written without curves in surface parameters: readers work them out again, and the file is half as long.
_SETTINGS: dict[str, str | int] = {
    "write.step.schema": "AP214IS",
    "write.step.unit": "MM",
    "write.surfacecurve.mode": 0,
}


class Tree:
    """A document of the kernel's, built from the root down; names are kept as tokens until the text is final."""

    def __init__(self, title: str) -> None:
        from OCP.TCollection import TCollection_ExtendedString
        from OCP.TDocStd import TDocStd_Document
        from OCP.XCAFDoc import XCAFDoc_DocumentTool

        self._title = title
        self._names: dict[str, str] = {}
        self._known: set[Any] = set()
        self._document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
        self._shapes = XCAFDoc_DocumentTool.ShapeTool_s(self._document.Main())
        self._colours = XCAFDoc_DocumentTool.ColorTool_s(self._document.Main())
        self.root = self.product(title)

    def _name(self, label: Any, text: str) -> None:
        from OCP.TCollection import TCollection_ExtendedString
        from OCP.TDataStd import TDataStd_Name

        # The kernel folds long names, doubles no backslash and writes raw UTF-8: it is only given short ASCII tokens.
        token = f"@{len(self._names)}@"
        self._names[token] = text
        TDataStd_Name.Set_s(label, TCollection_ExtendedString(token))

    def product(self, name: str) -> Any:
        """A new, empty assembly product."""
        label = self._shapes.NewShape()
        self._name(label, name)
        return label

    def body(self, name: str, shape: Any, look: Look) -> Any:
        """A new product that is one solid of one colour."""
        from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy, BRepBuilderAPI_Transform
        from OCP.Quantity import Quantity_Color, Quantity_ColorRGBA, Quantity_TypeOfColor
        from OCP.XCAFDoc import XCAFDoc_ColorType

        if not shape.Location().IsIdentity():
            placement = shape.Location().Transformation()
            shape = BRepBuilderAPI_Transform(shape.Located(type(shape.Location())()), placement, True).Shape()
        elif shape in self._known:
            shape = BRepBuilderAPI_Copy(shape).Shape()  # geometry shared by two products would lose one's name
        self._known.add(shape)
        label = self._shapes.NewShape()
        self._shapes.SetShape(label, shape)
        self._name(label, name)
        colour = Quantity_Color(*look.colour, Quantity_TypeOfColor.Quantity_TOC_sRGB)
        self._colours.SetColor(label, Quantity_ColorRGBA(colour, look.opacity), XCAFDoc_ColorType.XCAFDoc_ColorSurf)
        return label

    def place(self, parent: Any, product: Any, pose: Pose, name: str) -> None:
        """An occurrence of a product in an assembly."""
        from OCP.gp import gp_Trsf
        from OCP.TopLoc import TopLoc_Location

        placement = gp_Trsf()
        placement.SetValues(*(float(v) for v in pose[:3].ravel()))
        self._name(self._shapes.AddComponent(parent, product, TopLoc_Location(placement)), name)

    def text(self) -> bytes:
        """The file's content."""
        from OCP.IFSelect import IFSelect_ReturnStatus
        from OCP.STEPCAFControl import STEPCAFControl_Writer
        from OCP.STEPControl import STEPControl_StepModelType

        self._shapes.UpdateAssemblies()
        with _settings(), _silent():
            writer = STEPCAFControl_Writer()
            writer.SetColorMode(True)
            writer.SetNameMode(True)
            if not writer.Transfer(self._document, STEPControl_StepModelType.STEPControl_AsIs):
                raise OutputError("the geometry kernel could not translate the build to STEP")
            raw = io.BytesIO()
            if writer.WriteStream(raw) != IFSelect_ReturnStatus.IFSelect_RetDone:
                raise OutputError("the geometry kernel could not write the build as STEP")
        return part21.canonical(raw.getvalue().decode("ascii"), self._title, self._names)


@contextmanager
def _silent() -> Iterator[None]:
    """Standard output closed to the kernel, which writes its statistics there whatever is meant to be printed."""
    sys.stdout.flush()
    kept = os.dup(1)
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


@contextmanager
def _settings() -> Iterator[None]:
    """The kernel's process-wide STEP settings as this module wants them, put back afterwards."""
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_Controller

    STEPControl_Controller.Init_s()  # the settings exist only once the STEP translator is set up
    before: dict[str, str | int] = {}
    for key, value in _SETTINGS.items():
        if isinstance(value, int):
            before[key] = Interface_Static.IVal_s(key)
            Interface_Static.SetIVal_s(key, value)
        else:
            before[key] = Interface_Static.CVal_s(key)
            Interface_Static.SetCVal_s(key, value)
    try:
        yield
    finally:
        for key, value in before.items():
            if isinstance(value, int):
                Interface_Static.SetIVal_s(key, value)
            else:
                Interface_Static.SetCVal_s(key, value)
