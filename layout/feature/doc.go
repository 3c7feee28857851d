// Package feature is the one codec from designs to GeoJSON: which layers a
// design is written as, which properties each carries, in which order and with
// how many decimals, and the three ways of putting features one after another
// in a file or a stream.
//
// What is written follows RFC 7946: longitude and latitude on WGS 84, shells
// counter-clockwise, holes clockwise, rings closed. Every feature of a layer
// has the same properties in the same order, null where a value is not known,
// and one geometry type, null where there is nothing to show; so a reader that
// guesses a table's columns from its first rows guesses right.
//
// The same design gives the same bytes for each feature, in whatever form and
// through whatever door it leaves.
package feature
