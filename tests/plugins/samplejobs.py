"""The job of every tool on the sample outing, run once in a session as the desktop runs it; many tests look at it."""
import pathlib
import types

import jobs
from faults import Heard
from qgis.core import QgsProcessingContext, QgsProcessingOutputLayerDefinition, QgsProject, QgsSettings

SHARE = 0.5


class SampleJobs:
    """The jobs by tool; nobody changes what lies in ``folder``.

    ``known``: {tool: (parameters without outputs, {output: ending of its file})}. ``logs_in_feet``: {tool: log} of the
    runs that prepare, by somebody whose profile says feet.
    """

    def __init__(self, folder):
        self.folder, self.project, self._runs = folder, QgsProject(), {}
        QgsSettings().setValue("athwart/units/display", "ft")
        self.known = jobs.prepare(folder, self._run, SHARE)
        QgsSettings().remove("athwart")
        self.logs_in_feet = {tool: one.log for tool, one in self._runs.items()}

    def whole(self, tool):
        """The tool's run.

        ``made`` {output: path}, ``results``, ``steps`` of the bar, ``dressers`` {output: what dresses its layer on the
        desktop}.
        """
        if tool not in self._runs:
            parameters, endings = self.known[tool]
            self._run(tool, {**parameters, **{name: str(self._place(tool, name, ending))
                                              for name, ending in endings.items()}})
        return self._runs[tool]

    def _place(self, tool, name, ending):
        return self.folder / f"{tool}_{name}.{ending}"

    def _run(self, tool, parameters):
        import processing

        context, heard = QgsProcessingContext(), Heard()
        context.setProject(self.project)
        layers = {name: QgsProcessingOutputLayerDefinition(value, self.project) for name, value in parameters.items()
                  if value == str(self._place(tool, name, "gpkg"))}
        results = processing.run(f"athwart:{tool}", {**parameters, **layers}, context=context, feedback=heard)
        dressers = {name: context.layerToLoadOnCompletionDetails(results[name]).postProcessor() for name in layers}
        made = {name: pathlib.Path(value) for name, value in parameters.items()
                if isinstance(value, str) and value.startswith(str(self._place(tool, name, "")))}
        self._runs[tool] = types.SimpleNamespace(made=made, results=results, steps=heard.steps, dressers=dressers,
                                                 log="\n".join([*heard.warnings, heard.textLog()]))
        return results
