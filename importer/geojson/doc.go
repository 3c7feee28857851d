// Package geojson reads GeoJSON (RFC 7946), GeoJSON text sequences (RFC 8142)
// and newline-delimited GeoJSON, plain or gzipped, strictly and in memory that
// does not grow with the coordinates: [Open] goes once through the whole text,
// checks its syntax and keeps a small index; [Document.Feature] then decodes any
// one feature on demand.
//
// The reader is its own because the one of the standard library merges ids that
// differ only in invalid bytes, lets the last of two equal members win and
// matches names without regard to case.
package geojson
