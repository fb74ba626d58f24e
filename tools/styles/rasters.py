"""The styles of the rasters, plugin/styles/<raster>.qml.

Both ramps run from light to dark, so that they read in grey and with any colour
vision; ground that nobody saw stays clear, so that what lies below shows.
"""
from __future__ import annotations

import os
import pathlib
import tempfile

import numpy as np
from osgeo import gdal
from qgis.core import (
    Qgis,
    QgsColorRampShader,
    QgsContrastEnhancement,
    QgsMapLayer,
    QgsMultiBandColorRenderer,
    QgsRasterDataProvider,
    QgsRasterLayer,
    QgsRasterMinMaxOrigin,
    QgsRasterPipe,
    QgsRasterShader,
    QgsSingleBandGrayRenderer,
    QgsSingleBandPseudoColorRenderer,
)
from qgis.PyQt.QtGui import QColor

BANDS = 8
"""Bands of the map of bottom seen."""

STYLES = pathlib.Path(__file__).resolve().parents[2] / "plugin" / "styles"

SEEN = [(0.5, "#00ffffff", "not seen"), (1.5, "#d0d3ccbd", "seen in one pass"),
        (2.5, "#d0a89f8a", "seen in two passes"), (3.5, "#d07d745f", "seen in three passes"),
        (float("inf"), "#d0524a3a", "seen in four passes or more")]

DETECTING = [(0.5, "#00ffffff", "the object would not show"), (1.5, "#d0d3ccbd", "would show in one pass"),
             (2.5, "#d0a89f8a", "would show in two passes"), (3.5, "#d07d745f", "would show in three passes"),
             (float("inf"), "#d0524a3a", "would show in four passes or more")]

FROM_SIDES = [(0.5, "#00ffffff", "the object would not show"), (1.5, "#d0d3ccbd", "would show from one direction"),
              (2.5, "#d0a89f8a", "would show from two directions"),
              (float("inf"), "#d0524a3a", "would show from three directions or more")]

HIDDEN = [(0.5, "#00ffffff", "not hidden, or never looked at"),
          (float("inf"), "#e0d55e00", "hidden by nearer ground in every pass")]

SMALLEST = [(0.5, "#d0524a3a", "shows objects of 0.5 m"), (1, "#d07d745f", "shows objects of 1 m"),
            (2, "#d0a89f8a", "shows objects of 2 m"), (float("inf"), "#d0d3ccbd", "shows larger objects only")]

PROBABILITY = [(0.025, "#d0a63603", "missed in 97.5 % of the draws or more"), (0.25, "#d0e6550d", "seen in up to 25 %"),
               (0.5, "#d0fd8d3c", "seen in 25 to 50 %"), (0.75, "#d0fdbe85", "seen in 50 to 75 %"),
               (0.975, "#d0feedde", "seen in 75 to 97.5 %"), (float("inf"), "#00ffffff", "seen in more than 97.5 %")]

DEPTHS = [(0, "#f7fbff", "0 m, the shore"), (1, "#dfecf7", "1 m"), (2, "#c6dcef", "2 m"), (3, "#a6cde3", "3 m"),
          (5, "#7ab6d9", "5 m"), (8, "#519ccc", "8 m"), (12, "#3080bd", "12 m"), (20, "#1663aa", "20 m"),
          (30, "#08488e", "30 m"), (50, "#08306b", "50 m and deeper")]


GRAZING = [(0, "#f7fcf5", "0 degrees, along the floor"), (15, "#c7e9c0", "15 degrees"), (30, "#74c476", "30 degrees"),
           (60, "#238b45", "60 degrees"), (90, "#00441b", "90 degrees, from above")]


def shader(items, kind):
    """A shader of (value, colour, words)."""
    ramp = QgsColorRampShader()
    ramp.setColorRampType(kind)
    ramp.setColorRampItemList([QgsColorRampShader.ColorRampItem(value, QColor(color), words)
                               for value, color, words in items])
    made = QgsRasterShader()
    made.setRasterShaderFunction(ramp)
    return made


def save(name, bands, shown, items, kind):
    """Save the style of a raster of that many bands, one of them shown."""
    path = os.path.join(tempfile.mkdtemp(), "any.tif")
    raster = gdal.GetDriverByName("GTiff").Create(path, 2, 2, bands, gdal.GDT_Float32)
    for number in range(bands):
        raster.GetRasterBand(number + 1).WriteRaster(0, 0, 2, 2, np.arange(4, dtype=np.float32).tobytes())
    raster.SetGeoTransform((0, 1, 0, 0, 0, -1))
    raster = None
    layer = QgsRasterLayer(path, name)
    renderer = QgsSingleBandPseudoColorRenderer(layer.dataProvider(), shown, shader(items, kind))
    renderer.setClassificationMin(items[0][0])
    renderer.setClassificationMax(min(items[-1][0], 1e9))
    layer.setRenderer(renderer)
    kept = QgsMapLayer.StyleCategory.Symbology | QgsMapLayer.StyleCategory.Rendering
    message, ok = layer.saveNamedStyle(str(STYLES / f"{name}.qml"), kept)
    if not ok:
        raise SystemExit(message)


DRAWN = (("seen", BANDS, 1, SEEN), ("seen_hidden", BANDS, 6, HIDDEN), ("seen_smallest", BANDS, 5, SMALLEST),
         ("seen_detecting", BANDS, 7, DETECTING), ("seen_from_sides", BANDS, 8, FROM_SIDES),
         ("probability_seen", 1, 1, PROBABILITY))


def save_picture(name, shown, kind=gdal.GDT_Byte):
    """Save the style of a picture with an alpha band: one band of grey, or three colours.

    8 bits are shown as they are. 16 bits are stretched to what is in view: many a picture fills 12 of them only, and
    QGIS draws larger numbers than 255 as noise where nothing is stretched. Zoomed out, cells are averaged: taking each
    n-th of a speckled picture shows speckles that are not there.
    """
    path = os.path.join(tempfile.mkdtemp(), "any.tif")
    raster = gdal.GetDriverByName("GTiff").Create(path, 2, 2, len(shown) + 1, kind)
    raster.SetGeoTransform((0, 1, 0, 0, 0, -1))
    raster = None
    layer = QgsRasterLayer(path, name)
    if len(shown) == 1:
        renderer = QgsSingleBandGrayRenderer(layer.dataProvider(), 1)
        stretched = (renderer.setContrastEnhancement,)
    else:
        renderer = QgsMultiBandColorRenderer(layer.dataProvider(), *shown)
        stretched = (renderer.setRedContrastEnhancement, renderer.setGreenContrastEnhancement,
                     renderer.setBlueContrastEnhancement)
    renderer.setAlphaBand(len(shown) + 1)
    if kind == gdal.GDT_UInt16:
        for stretch in stretched:
            stretch(_full_stretch())
        origin = QgsRasterMinMaxOrigin()
        origin.setLimits(QgsRasterMinMaxOrigin.Limits.CumulativeCut)
        origin.setExtent(QgsRasterMinMaxOrigin.Extent.UpdatedCanvas)
        renderer.setMinMaxOrigin(origin)
    layer.setRenderer(renderer)
    layer.dataProvider().enableProviderResampling(True)
    layer.dataProvider().setZoomedOutResamplingMethod(QgsRasterDataProvider.ResamplingMethod.Average)
    layer.setResamplingStage(QgsRasterPipe.ResamplingStage.Provider)
    kept = QgsMapLayer.StyleCategory.Symbology | QgsMapLayer.StyleCategory.Rendering
    message, ok = layer.saveNamedStyle(str(STYLES / f"{name}.qml"), kept)
    if not ok:
        raise SystemExit(message)


def _full_stretch():
    made = QgsContrastEnhancement(Qgis.DataType.UInt16)
    made.setContrastEnhancementAlgorithm(QgsContrastEnhancement.ContrastEnhancementAlgorithm.StretchToMinimumMaximum)
    made.setMinimumValue(0)
    made.setMaximumValue(65535)
    return made


def draw():
    """Save all of them; QGIS must be running."""
    for one in DRAWN:
        save(*one, QgsColorRampShader.Type.Discrete)
    save("depths", 1, 1, DEPTHS, QgsColorRampShader.Type.Interpolated)
    save("record_source", 7, 1, GRAZING, QgsColorRampShader.Type.Interpolated)
    for more, kind in (("", gdal.GDT_Byte), ("_16", gdal.GDT_UInt16)):
        save_picture(f"mapped_record{more}", (1,), kind)
        save_picture(f"mapped_record_colours{more}", (1, 2, 3), kind)
    print(f"{len(DRAWN) + 6} styles of rasters in {STYLES}")
