#!/bin/bash
# Run by tools/matrix.sh inside its qt6 chroot: PyQGIS's core on Qt 6 / PyQt6 from Debian 13's QGIS source (once, 15 minutes alone on 2 cores).
set -eux
apt-get install -y -q build-essential dpkg-dev bison flex cmake ninja-build mold pkgconf libexiv2-dev libexpat1-dev libgdal-dev libgeos-dev libproj-dev libprotobuf-dev protobuf-compiler libspatialindex-dev libspatialite-dev \
 libsqlite3-dev libzip-dev libzstd-dev nlohmann-json3-dev libqca-qt6-dev qtkeychain-qt6-dev qt6-base-dev qt6-base-private-dev qt6-5compat-dev qt6-tools-dev qt6-tools-dev-tools qt6-svg-dev qt6-multimedia-dev qt6-positioning-dev \
 qt6-l10n-tools qt6-declarative-dev libqt6sql6-sqlite python3-dev python3-gdal python3-numpy python3-scipy python3-shapely python3-pyproj python3-yaml python3-termcolor python3-sipbuild python3-pyqtbuild sip-tools pyqt6-dev \
 pyqt6-dev-tools python3-pyqt6 python3-pyqt6.qtpositioning python3-pyqt6.qtsvg python3-pyqt6.qtmultimedia python3-pyqt6.qsci pyqt6.qsci-dev libqscintilla2-qt6-dev qt6-svg-plugins git
mkdir /build; cd /build; apt-get source -q qgis; mv qgis-3* q; rm -f qgis_*
cat >unity.cmake <<'C'
function(_unity)   # 8 sources a compiler run; without it the core alone takes some 2 hours
  get_target_property(all qgis_core SOURCES)
  file(STRINGS /build/single single)   # groups that do not compile as one: source by source
  foreach(f IN LISTS all)
    math(EXPR i "${i}+1")
    math(EXPR g "${i}/8")
    if(f MATCHES "\\.cpp$" AND NOT g IN_LIST single)
      cmake_path(ABSOLUTE_PATH f BASE_DIRECTORY ${CMAKE_SOURCE_DIR}/src/core)
      set_source_files_properties(${f} TARGET_DIRECTORY qgis_core PROPERTIES UNITY_GROUP ${g})
    endif()
  endforeach()
  set_target_properties(qgis_core PROPERTIES UNITY_BUILD ON UNITY_BUILD_MODE GROUP)
endfunction()
cmake_language(DEFER DIRECTORY ${CMAKE_SOURCE_DIR} CALL _unity)
C
>single
export CXXFLAGS="-O0 -w -pipe" CFLAGS="-O1 -w -pipe" L=-fuse-ld=mold
cmake -G Ninja -S q -B b -Wno-dev -DCMAKE_PROJECT_INCLUDE=/build/unity.cmake -DCMAKE_BUILD_TYPE=None -DBUILD_WITH_QT6=ON -DUSE_CCACHE=OFF -DENABLE_TESTS=OFF -DUSE_OPENCL=OFF \
 -DCMAKE_SHARED_LINKER_FLAGS=$L -DCMAKE_MODULE_LINKER_FLAGS=$L -DCMAKE_EXE_LINKER_FLAGS=$L $(for o in GUI DESKTOP 3D SERVER QUICK PDAL EPT COPC DRACO QTWEBKIT QTWEBENGINE QSCIAPI GSL POSTGRESQL CUSTOM_WIDGETS QTSERIALPORT PY_COMPILE OAUTH2_PLUGIN GRASS7 GRASS8; do echo -DWITH_$o=OFF; done)
for i in 1 2 3; do
    ! ninja -C b -k 0 qgis_core >log.$i 2>&1 || break
    sed -nE 's,^FAILED: .*/unity_([0-9]+)_cxx.*,\1,p' log.$i >>single; cmake b >/dev/null
done
ninja -C b qgis_core provider_delimitedtext python_module_qgis__core
P=b/output/python; cp -r q/python/*.py $P/qgis/; cp q/python/core/*.py $P/qgis/core/; cp -r q/python/PyQt6/core/additions $P/qgis/core/
sed -i "s/from PyQt5/from PyQt6/" $P/qgis/core/additions/*.py; find b -name "*.o" -delete
ln -s "$PWD/$P/qgis" /usr/lib/python3/dist-packages/qgis
echo "$PWD/b/output/lib" >/etc/ld.so.conf.d/qgis.conf
ldconfig
echo 'export QGIS_PREFIX_PATH=/build/b/output' >/matrix-env
