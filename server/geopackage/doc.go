// Package geopackage writes designs as a GeoPackage (OGC 12-128r17, version
// 1.3): a table for each layer of the output schema with its spatial index and
// the meaning of every column, and styles that mapping tools which look for a
// table layer_styles draw at once. The same features in the same order give
// the same bytes.
package geopackage
