"""The guide's page on scripts, run as it stands inside QGIS."""
import pagecode


def test_the_page_on_scripts_does_what_it_says(provider):
    code, said = pagecode.parts("scripting")
    assert pagecode.run(code) == said
    _, without_qgis = pagecode.parts("python")
    assert said.splitlines()[1] == without_qgis.splitlines()[1]  # the same share and gaps by either way
