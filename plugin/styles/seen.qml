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
    <rasterrenderer type="singlebandpseudocolor" band="1" classificationMin="0.5" classificationMax="1000000000" alphaBand="-1" opacity="1" nodataColor="">
      <minMaxOrigin>
        <limits>None</limits>
        <extent>WholeRaster</extent>
        <statAccuracy>Estimated</statAccuracy>
        <cumulativeCutLower>0.02</cumulativeCutLower>
        <cumulativeCutUpper>0.98</cumulativeCutUpper>
        <stdDevFactor>2</stdDevFactor>
      </minMaxOrigin>
      <rastershader>
        <colorrampshader clip="0" minimumValue="0.5" maximumValue="1000000000" colorRampType="DISCRETE" classificationMode="1" labelPrecision="6">
          <item alpha="0" value="0.5" color="#ffffff" label="not seen"/>
          <item alpha="208" value="1.5" color="#d3ccbd" label="seen in one pass"/>
          <item alpha="208" value="2.5" color="#a89f8a" label="seen in two passes"/>
          <item alpha="208" value="3.5" color="#7d745f" label="seen in three passes"/>
          <item alpha="208" value="inf" color="#524a3a" label="seen in four passes or more"/>
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
