"""pytest plugin for the core's own run: importing QGIS or Qt fails, as on a machine that has neither."""
import sys


class _Blocked:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in ("qgis", "PyQt5", "PyQt6"):
            raise ImportError(f"{name} is blocked: the core runs without QGIS")


sys.meta_path.insert(0, _Blocked())


def pytest_addoption(parser):
    parser.addini("qgis_gui_enabled", "An option of pytest-qgis, which is not loaded where QGIS is blocked.")
