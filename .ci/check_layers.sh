#!/usr/bin/env bash
# Read every layer of a map with GDAL and compare what it sees with what is in
# the file: number of features, geometry type, and the type of every property.
#
#   .ci/check_layers.sh MAP.geojson FOLDER
set -euo pipefail
map=$1
folder=$2
mkdir -p "$folder"

faults=0
fault() {
	echo "FAULT $*"
	faults=$((faults + 1))
}

# expected_types LAYER: name and GDAL type of each property that is not null
# throughout, told by how the values are written.
expected_types() {
	jq -r '[.features[].properties] | (.[0] | keys_unsorted)[] as $k
		| [.[][$k] | select(. != null)] as $v | select($v | length > 0)
		| "\($k) \(if ($v[0] | type) == "string" then "String" elif ($v[0] | type) == "boolean" then "Integer(Boolean)" else "number" end)"' "$1"
}

checked=0
for layer in $(jq -r '[.features[].properties.layer] | unique | .[]' "$map"); do
	file=$folder/$layer.geojson
	# Line by line, so that numbers stay as they are written: jq would make 3 of 3.0.
	{
		echo '{"type":"FeatureCollection","features":['
		grep -F "\"layer\":\"$layer\"" "$map" | sed 's/,$//' | paste -sd, -
		echo ']}'
	} >"$file"
	seen=$(ogrinfo -al -so "$file")
	want=$(jq '.features | length' "$file")
	got=$(sed -n 's/^Feature Count: //p' <<<"$seen")
	[ "$got" = "$want" ] || fault "$layer: $want features, GDAL reads $got"

	kinds=$(jq -r '[.features[].geometry.type // empty] | unique | join(",")' "$file")
	type=$(sed -n 's/^Geometry: //p' <<<"$seen" | tr -d ' ')
	case "${kinds,,}:${type,,}" in
	multipolygon:multipolygon | polygon:polygon | point:point | linestring:linestring) ;;
	*) fault "$layer: geometry is $kinds, GDAL reads $type" ;;
	esac

	while read -r name wanted; do
		type=$(sed -n "s/^$name: \([A-Za-z()]*\) .*/\1/p" <<<"$seen")
		case "$name:$wanted:$type" in
		heads:number:Integer | heads_bound:number:Integer | heads_fixed:number:Integer | zone:number:Integer | paving_crossings:number:Integer) ;;
		heads:* | heads_bound:* | heads_fixed:* | zone:* | paving_crossings:*) fault "$layer.$name: should be Integer, GDAL reads ${type:-nothing}" ;;
		*:number:Real) ;;
		*:String:String | *:"Integer(Boolean)":"Integer(Boolean)") ;;
		*) fault "$layer.$name: written as $wanted, GDAL reads ${type:-nothing}" ;;
		esac
		checked=$((checked + 1))
	done < <(expected_types "$file")
	echo "$layer: $got features, $kinds"
done

# And through the one file, as a mapping tool would filter it.
heads=$(jq '[.features[] | select(.properties.layer == "head")] | length' "$map")
got=$(ogrinfo -al -so -where "layer = 'head'" "$map" | sed -n 's/^Feature Count: //p')
[ "$got" = "$heads" ] || fault "filter: $heads heads, GDAL reads $got"

echo "$checked properties checked, $faults faults"
[ "$faults" = 0 ] && [ "$checked" -gt 0 ]
