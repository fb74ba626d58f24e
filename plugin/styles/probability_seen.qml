<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>
<qgis minScale="1e+08" styleCategories="Symbology|Rendering" hasScaleBasedVisibilityFlag="0" version="3.22.16-Białowieża" maxScale="0">
  <pipe-data-defined-properties>
    <Option type="Map">
      <Option type="QString" value="" name="name"/>
      <Option name="properties"/>
      <Option type="QString" value="collection" name="type"/>
    </Option>
  </pipe-data-defined-properties>
  <pipe>
    <provider>
      <resampling zoomedInResamplingMethod="nearestNeighbour" zoomedOutResamplingMethod="nearestNeighbour" enabled="false" maxOversampling="2"/>
    </provider>
    <rasterrenderer type="singlebandpseudocolor" alphaBand="-1" classificationMax="1000000000" classificationMin="0.025" nodataColor="" opacity="1" band="1">
      <minMaxOrigin>
        <limits>None</limits>
        <extent>WholeRaster</extent>
        <statAccuracy>Estimated</statAccuracy>
        <cumulativeCutLower>0.02</cumulativeCutLower>
        <cumulativeCutUpper>0.98</cumulativeCutUpper>
        <stdDevFactor>2</stdDevFactor>
      </minMaxOrigin>
      <rastershader>
        <colorrampshader minimumValue="0.025000000000000001" classificationMode="1" maximumValue="1000000000" colorRampType="DISCRETE" clip="0" labelPrecision="6">
          <item label="missed in 97.5 % of the draws or more" value="0.025" alpha="208" color="#a63603"/>
          <item label="seen in up to 25 %" value="0.25" alpha="208" color="#e6550d"/>
          <item label="seen in 25 to 50 %" value="0.5" alpha="208" color="#fd8d3c"/>
          <item label="seen in 50 to 75 %" value="0.75" alpha="208" color="#fdbe85"/>
          <item label="seen in 75 to 97.5 %" value="0.975" alpha="208" color="#feedde"/>
          <item label="seen in more than 97.5 %" value="inf" alpha="0" color="#ffffff"/>
          <rampLegendSettings maximumLabel="" useContinuousLegend="1" suffix="" direction="0" minimumLabel="" prefix="" orientation="2">
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
    <brightnesscontrast brightness="0" contrast="0" gamma="1"/>
    <huesaturation saturation="0" colorizeGreen="128" colorizeBlue="128" colorizeStrength="100" colorizeRed="255" invertColors="0" grayscaleMode="0" colorizeOn="0"/>
    <rasterresampler maxOversampling="2"/>
    <resamplingStage>resamplingFilter</resamplingStage>
  </pipe>
  <blendMode>0</blendMode>
</qgis>
