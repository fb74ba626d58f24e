<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>
<qgis minScale="1e+08" version="3.22.16-Białowieża" styleCategories="Symbology|Rendering" hasScaleBasedVisibilityFlag="0" maxScale="0">
  <pipe-data-defined-properties>
    <Option type="Map">
      <Option type="QString" name="name" value=""/>
      <Option name="properties"/>
      <Option type="QString" name="type" value="collection"/>
    </Option>
  </pipe-data-defined-properties>
  <pipe>
    <provider>
      <resampling zoomedInResamplingMethod="nearestNeighbour" zoomedOutResamplingMethod="average" enabled="true" maxOversampling="2"/>
    </provider>
    <rasterrenderer type="singlebandgray" alphaBand="2" grayBand="1" gradient="BlackToWhite" opacity="1" nodataColor="">
      <minMaxOrigin>
        <limits>CumulativeCut</limits>
        <extent>UpdatedCanvas</extent>
        <statAccuracy>Estimated</statAccuracy>
        <cumulativeCutLower>0.02</cumulativeCutLower>
        <cumulativeCutUpper>0.98</cumulativeCutUpper>
        <stdDevFactor>2</stdDevFactor>
      </minMaxOrigin>
      <contrastEnhancement>
        <minValue>0</minValue>
        <maxValue>65535</maxValue>
        <algorithm>StretchToMinimumMaximum</algorithm>
      </contrastEnhancement>
      <rampLegendSettings suffix="" prefix="" useContinuousLegend="1" minimumLabel="" orientation="2" maximumLabel="" direction="0">
        <numericFormat id="basic">
          <Option type="Map">
            <Option type="QChar" name="decimal_separator" value=""/>
            <Option type="int" name="decimals" value="6"/>
            <Option type="int" name="rounding_type" value="0"/>
            <Option type="bool" name="show_plus" value="false"/>
            <Option type="bool" name="show_thousand_separator" value="true"/>
            <Option type="bool" name="show_trailing_zeros" value="false"/>
            <Option type="QChar" name="thousand_separator" value=""/>
          </Option>
        </numericFormat>
      </rampLegendSettings>
    </rasterrenderer>
    <brightnesscontrast brightness="0" contrast="0" gamma="1"/>
    <huesaturation saturation="0" colorizeGreen="128" colorizeBlue="128" colorizeStrength="100" colorizeRed="255" invertColors="0" grayscaleMode="0" colorizeOn="0"/>
    <rasterresampler maxOversampling="2"/>
    <resamplingStage>provider</resamplingStage>
  </pipe>
  <blendMode>0</blendMode>
</qgis>
