<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>
<qgis hasScaleBasedVisibilityFlag="0" maxScale="0" version="3.22.16-Białowieża" styleCategories="Symbology|Rendering" minScale="1e+08">
  <pipe-data-defined-properties>
    <Option type="Map">
      <Option type="QString" value="" name="name"/>
      <Option name="properties"/>
      <Option type="QString" value="collection" name="type"/>
    </Option>
  </pipe-data-defined-properties>
  <pipe>
    <provider>
      <resampling zoomedOutResamplingMethod="nearestNeighbour" enabled="false" maxOversampling="2" zoomedInResamplingMethod="nearestNeighbour"/>
    </provider>
    <rasterrenderer classificationMin="0" type="singlebandpseudocolor" alphaBand="-1" nodataColor="" opacity="1" band="1" classificationMax="50">
      <minMaxOrigin>
        <limits>None</limits>
        <extent>WholeRaster</extent>
        <statAccuracy>Estimated</statAccuracy>
        <cumulativeCutLower>0.02</cumulativeCutLower>
        <cumulativeCutUpper>0.98</cumulativeCutUpper>
        <stdDevFactor>2</stdDevFactor>
      </minMaxOrigin>
      <rastershader>
        <colorrampshader minimumValue="0" colorRampType="INTERPOLATED" classificationMode="1" maximumValue="50" labelPrecision="6" clip="0">
          <item value="0" color="#f7fbff" label="0 m, the shore" alpha="255"/>
          <item value="1" color="#dfecf7" label="1 m" alpha="255"/>
          <item value="2" color="#c6dcef" label="2 m" alpha="255"/>
          <item value="3" color="#a6cde3" label="3 m" alpha="255"/>
          <item value="5" color="#7ab6d9" label="5 m" alpha="255"/>
          <item value="8" color="#519ccc" label="8 m" alpha="255"/>
          <item value="12" color="#3080bd" label="12 m" alpha="255"/>
          <item value="20" color="#1663aa" label="20 m" alpha="255"/>
          <item value="30" color="#08488e" label="30 m" alpha="255"/>
          <item value="50" color="#08306b" label="50 m and deeper" alpha="255"/>
          <rampLegendSettings suffix="" minimumLabel="" prefix="" orientation="2" direction="0" useContinuousLegend="1" maximumLabel="">
            <numericFormat id="basic">
              <Option type="Map">
                <Option type="QChar" value="" name="decimal_separator"/>
                <Option type="int" value="6" name="decimals"/>
                <Option type="int" value="0" name="rounding_type"/>
                <Option type="bool" value="false" name="show_plus"/>
                <Option type="bool" value="true" name="show_thousand_separator"/>
                <Option type="bool" value="false" name="show_trailing_zeros"/>
                <Option type="QChar" value="" name="thousand_separator"/>
              </Option>
            </numericFormat>
          </rampLegendSettings>
        </colorrampshader>
      </rastershader>
    </rasterrenderer>
    <brightnesscontrast brightness="0" gamma="1" contrast="0"/>
    <huesaturation saturation="0" grayscaleMode="0" colorizeRed="255" colorizeOn="0" invertColors="0" colorizeBlue="128" colorizeGreen="128" colorizeStrength="100"/>
    <rasterresampler maxOversampling="2"/>
    <resamplingStage>resamplingFilter</resamplingStage>
  </pipe>
  <blendMode>0</blendMode>
</qgis>
