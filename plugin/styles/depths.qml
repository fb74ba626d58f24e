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
      <resampling zoomedInResamplingMethod="nearestNeighbour" zoomedOutResamplingMethod="nearestNeighbour" enabled="false" maxOversampling="2"/>
    </provider>
    <rasterrenderer type="singlebandpseudocolor" band="1" classificationMin="0" classificationMax="50" alphaBand="-1" opacity="1" nodataColor="">
      <minMaxOrigin>
        <limits>None</limits>
        <extent>WholeRaster</extent>
        <statAccuracy>Estimated</statAccuracy>
        <cumulativeCutLower>0.02</cumulativeCutLower>
        <cumulativeCutUpper>0.98</cumulativeCutUpper>
        <stdDevFactor>2</stdDevFactor>
      </minMaxOrigin>
      <rastershader>
        <colorrampshader clip="0" minimumValue="0" maximumValue="50" colorRampType="INTERPOLATED" classificationMode="1" labelPrecision="6">
          <item alpha="255" value="0" color="#f7fbff" label="0 m, the shore"/>
          <item alpha="255" value="1" color="#dfecf7" label="1 m"/>
          <item alpha="255" value="2" color="#c6dcef" label="2 m"/>
          <item alpha="255" value="3" color="#a6cde3" label="3 m"/>
          <item alpha="255" value="5" color="#7ab6d9" label="5 m"/>
          <item alpha="255" value="8" color="#519ccc" label="8 m"/>
          <item alpha="255" value="12" color="#3080bd" label="12 m"/>
          <item alpha="255" value="20" color="#1663aa" label="20 m"/>
          <item alpha="255" value="30" color="#08488e" label="30 m"/>
          <item alpha="255" value="50" color="#08306b" label="50 m and deeper"/>
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
        </colorrampshader>
      </rastershader>
    </rasterrenderer>
    <brightnesscontrast brightness="0" contrast="0" gamma="1"/>
    <huesaturation saturation="0" colorizeGreen="128" colorizeBlue="128" colorizeStrength="100" colorizeRed="255" invertColors="0" grayscaleMode="0" colorizeOn="0"/>
    <rasterresampler maxOversampling="2"/>
    <resamplingStage>resamplingFilter</resamplingStage>
  </pipe>
  <blendMode>0</blendMode>
</qgis>
