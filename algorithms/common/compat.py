"""The only file that knows one QGIS version from another (3.22 to 4.x)."""
from __future__ import annotations

from typing import TYPE_CHECKING

from qgis.core import Qgis, QgsField, QgsProcessing
from qgis.PyQt.QtCore import QVariant

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsProcessingAlgorithm, QgsProcessingContext

    from ...survey.model.layers import Field

__all__ = ["NEEDS_OPTIONAL", "chosen_fields", "is_null", "make_field", "set_layer_group", "sink_kind"]

NEEDS_OPTIONAL = Qgis.QGIS_VERSION_INT < 34000
"""Before 3.40 the command line asks for crs, matrix, field and file parameters even where they have a default."""

if Qgis.QGIS_VERSION_INT >= 33800:
    from qgis.PyQt.QtCore import QMetaType

    _TYPES = {"double": QMetaType.Type.Double, "int": QMetaType.Type.Int, "int64": QMetaType.Type.LongLong,
              "string": QMetaType.Type.QString, "bool": QMetaType.Type.Bool, "datetime": QMetaType.Type.QDateTime}
else:
    _TYPES = {"double": QVariant.Double, "int": QVariant.Int, "int64": QVariant.LongLong,
              "string": QVariant.String, "bool": QVariant.Bool, "datetime": QVariant.DateTime}


def make_field(field: Field) -> QgsField:
    """QgsField of a ``survey.model.schemas.Field``, its unit and meaning as comment."""
    made = QgsField(field.name, _TYPES[field.kind])
    made.setComment(f"{field.text} ({field.unit})" if field.unit else field.text)
    return made


def is_null(value: object) -> bool:
    """True for None and for QGIS's NULL (a QVariant on Qt 5, None itself on Qt 6)."""
    return value is None or (isinstance(value, QVariant) and value.isNull())  # comparing with NULL costs a microsecond


def chosen_fields(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str,
                  context: QgsProcessingContext) -> list[str]:
    """Names of the fields chosen for a parameter; 3.32 renamed the call and later versions warn of the old one."""
    ask = getattr(alg, "parameterAsStrings", None) or alg.parameterAsFields
    return [field for field in ask(parameters, name, context) if field]


def set_layer_group(details: Any, name: str) -> None:
    """Load the finished layer into a layer-tree group, where this QGIS can (3.32 on)."""
    if name and hasattr(details, "groupName"):
        details.groupName = name



def sink_kind(definition: Any) -> str:
    """'point', 'line', 'polygon' or 'table': what an output layer holds; newer versions hand out numbers."""
    kind = int(getattr(definition.dataType(), "value", definition.dataType()))
    for word, known in (("point", QgsProcessing.SourceType.TypeVectorPoint),
                        ("line", QgsProcessing.SourceType.TypeVectorLine),
                        ("polygon", QgsProcessing.SourceType.TypeVectorPolygon)):
        if kind == int(getattr(known, "value", known)):
            return word
    return "table"
