"""Tools in QGIS's own threads, as the desktop runs them: one run after another in the same thread."""
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
CODE = f"""
import os, sys
from qgis.core import (QgsApplication, QgsProcessingAlgRunnerTask, QgsProcessingContext, QgsProcessingFeedback,
                       QgsProject)
application = QgsApplication([], False)
application.initQgis()
sys.path.insert(0, {str(ROOT / "tests" / "plugins")!r})
import clone
clone.load()
plugin = sys.modules["athwart"].classFactory(None)
plugin.initProcessing()
lake = {str(ROOT / "sample_project" / "lake.gpkg")!r} + "|layername=lake"
tool = QgsApplication.processingRegistry().createAlgorithmById("athwart:unscannedshoreline")
for _ in range(3):
    context, feedback, done = QgsProcessingContext(), QgsProcessingFeedback(False), []
    context.setProject(QgsProject.instance())
    task = QgsProcessingAlgRunnerTask(
        tool, {{"SWATHS": lake, "SHORELINE": lake, "OUTPUT": "TEMPORARY_OUTPUT"}}, context, feedback)
    task.executed.connect(lambda ok, results: done.append(ok and results["SHORE_M"] > 1000))
    QgsApplication.taskManager().addTask(task)
    while not done:
        application.processEvents()
    print("DONE", done[0], flush=True)
os._exit(0)
"""


def test_a_thread_can_be_used_again(tmp_path):
    """With pyproj 3.7 the second run ended QGIS itself."""
    done = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=False, timeout=120,
                          cwd=tmp_path)
    assert done.stdout.count("DONE True") == 3, (done.returncode, done.stdout, done.stderr[-2000:])
