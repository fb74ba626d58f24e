"""The demo's steps inside this process, many times faster than by a qgis_process for each."""
import pathlib


def run(tool, **parameters):
    """The stand-in for ``tools.demo.qp.run``: the same texts, as a script would give them."""
    import processing
    from qgis.core import QgsProcessingFeedback

    given = {name: str(value) if isinstance(value, pathlib.Path) else value for name, value in parameters.items()}
    given = {name: [str(item) for item in value] if isinstance(value, list) else value for name, value in given.items()}
    return processing.run(tool, given, feedback=QgsProcessingFeedback(False))
