"""The desktop's menu: what it adds, what it does, and that nothing of it stays behind."""
import pathlib
import sys
from unittest.mock import MagicMock

import pytest
from athwart.plugin import menu as menu_module
from qgis.core import QgsProject, QgsVectorLayer

ROOT = pathlib.Path(__file__).resolve().parents[2]


@pytest.fixture
def desk(qgis_iface, qgis_new_project, monkeypatch):
    """The desktop's interface, which notes what enters and leaves its menu."""
    monkeypatch.setattr(qgis_iface, "addPluginToMenu", MagicMock())
    monkeypatch.setattr(qgis_iface, "removePluginMenu", MagicMock())
    return qgis_iface


@pytest.fixture
def menu(desk):
    made = menu_module.Menu(desk)
    yield made
    made.remove()


def choose(monkeypatch, folder):
    """The user's answer to the question for a folder; '' is Cancel."""
    monkeypatch.setattr(menu_module.QFileDialog, "getExistingDirectory", lambda *_: str(folder))


def test_it_holds_the_sample_the_sheets_and_the_guide_and_nothing_else(menu, desk):
    added = [call.args for call in desk.addPluginToMenu.call_args_list]
    assert [(title, action.text()) for title, action in added] == [
        ("Athwart", "Open sample project..."), ("Athwart", "Add map sheets of the areas"), ("Athwart", "Open guide")]
    assert not any(action.icon().isNull() for _, action in added)


def test_unload_removes_what_initgui_added_and_the_command_line_never_sees_it(desk, monkeypatch):
    plugin = sys.modules["athwart"].classFactory(desk)
    monkeypatch.setattr(plugin, "initProcessing", lambda: None)  # the session's provider is registered already
    plugin.initGui()
    added = desk.addPluginToMenu.call_args_list
    plugin.unload()
    assert len(added) == 3
    assert desk.removePluginMenu.call_args_list == added
    assert sys.modules["athwart"].classFactory(None).menu is None


def test_the_sample_is_copied_and_its_project_opens_whole(menu, tmp_path, monkeypatch):
    choose(monkeypatch, tmp_path)
    menu.open_sample()
    copied = tmp_path / "athwart_sample"
    project = QgsProject.instance()
    assert pathlib.Path(project.fileName()) == copied / "athwart_sample.qgz"
    assert len(project.mapLayers()) >= 8
    assert all(layer.isValid() for layer in project.mapLayers().values())
    sources = [layer.source() for layer in project.mapLayers().values()]
    assert all(str(copied) in source for source in sources)
    assert (copied / "truth" / "objects.csv").exists() and not (copied / "simulate").exists()


def test_a_second_copy_leaves_the_first_alone(tmp_path):
    first = menu_module.copy_sample(tmp_path)
    (first.parent / "south_settings.csv").write_text("mine", encoding="utf-8")
    second = menu_module.copy_sample(tmp_path)
    assert second.parent.name == "athwart_sample_2" and second.exists()
    assert (first.parent / "south_settings.csv").read_text(encoding="utf-8") == "mine"


def test_map_sheets_are_made_of_the_areas_and_opened(menu, desk, monkeypatch):
    """Of the layer chosen; without one, and with no areas in the project, the way out is said."""
    designer, said, project = MagicMock(), MagicMock(), QgsProject.instance()
    monkeypatch.setattr(desk, "messageBar", lambda: said)
    monkeypatch.setattr(desk, "openLayoutDesigner", designer, raising=False)
    monkeypatch.setattr(desk, "activeLayer", lambda: None)
    menu.add_sheets()
    assert not designer.called and "Choose the layer of areas" in said.pushWarning.call_args.args[1]
    beds = QgsVectorLayer("Polygon?crs=EPSG:32619&field=name:string", "beds", "memory")
    project.addMapLayer(beds)
    monkeypatch.setattr(desk, "activeLayer", lambda: beds)
    menu.add_sheets()
    opened = [call.args[0] for call in designer.call_args_list]
    assert opened == project.layoutManager().printLayouts() and opened[0].atlas().coverageLayer() is beds
    designer.return_value.setAtlasPreviewEnabled.assert_called_once_with(True)  # the first page, not an empty one


def test_cancel_does_nothing(menu, desk, monkeypatch):
    choose(monkeypatch, "")
    opened = MagicMock()
    monkeypatch.setattr(desk, "addProject", opened)
    menu.open_sample()
    opened.assert_not_called()


def test_a_folder_that_cannot_be_written_is_named_with_a_remedy(menu, desk, tmp_path, monkeypatch):
    blocked = tmp_path / "a file"
    blocked.write_text("", encoding="utf-8")
    choose(monkeypatch, blocked)
    said = MagicMock()
    monkeypatch.setattr(desk, "messageBar", lambda: said)
    menu.open_sample()
    (title, text), _ = said.pushWarning.call_args
    assert title == "Athwart" and str(blocked) in text and "Choose a folder" in text


def test_the_guide_opens_from_the_disk(menu, desk, monkeypatch):
    asked, said = [], MagicMock()
    monkeypatch.setattr(menu_module.QDesktopServices, "openUrl", lambda url: asked.append(url) or len(asked) == 1)
    monkeypatch.setattr(desk, "messageBar", lambda: said)
    menu.open_guide()
    assert [url.toLocalFile() for url in asked] == [str(ROOT / "docs" / "index.html")]
    assert (ROOT / "docs" / "index.html").exists()
    said.pushWarning.assert_not_called()
    menu.open_guide()  # no browser this time
    assert "index.html" in said.pushWarning.call_args.args[1]
