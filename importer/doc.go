// Package importer holds the nouns of reading survey data: the feature as it
// stood in the file, what was found wrong with it ([Finding]), the refusal of a
// whole request ([Refusal]) and the limits on what is read ([Limits]). The
// verbs live in the sub-packages: geojson reads, project puts lon/lat into a
// lot's own plane, join gives unlabelled features to parcels by place, and
// assemble, the only one that knows the others, makes lots.
package importer
