#!/usr/bin/env bash
# Make larkenfold.gpkg of the layers in testdata/lots/larkenfold, as a survey office might hand
# them out: a table a layer under its own name, without labels, in metres of UTM
# zone 25 north. Needs ogr2ogr (Debian package gdal-bin; made with 3.6.2).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../lots/larkenfold"
export OGR_CURRENT_DATE=2026-11-25T00:00:00.000Z # the same file from the same layers
rm -f larkenfold.gpkg
update=
while read -r layer table columns; do
	# shellcheck disable=SC2086 # a flag or none
	ogr2ogr -f GPKG $update larkenfold.gpkg "$layer.geojson" -nln "$table" -t_srs EPSG:32625 -lco SPATIAL_INDEX=NO \
		-dialect SQLite -sql "select geometry $columns from \"$layer\""
	update=-update
done <<'LAYERS'
parcel parcels , lot as pin, static_pressure_psi, flow_gpm, flow_pressure_psi, bucket_gal, bucket_s
building building_footprints
hardscape paving
turf lawns
bed planting_beds
water pools
wall retaining_walls
tree trees
no_dig no_dig
sleeve sleeves
source taps
controller controllers
LAYERS
