// Package assemble makes lots of what the other packages of importer read:
// [Open] opens and checks a batch of files, and [Batch.Lot] puts together any
// one lot of it on demand. [Lot] does the same for features that came by another
// door. A fault of one lot never costs another its design; what cannot be given
// to any lot refuses the request.
package assemble
