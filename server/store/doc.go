// Package store says what the batch service keeps and what it promises about
// it; the packages below keep it.
//
// What a caller was told is stored is on disk. A lot, once imported, and a
// design, once saved, do not change: every run over a batch makes a revision of
// its own, and a lot has at most one design in a revision, however often it was
// worked on. Every row belongs to a tenant, and nothing of another tenant is
// ever found.
//
// A write that failed is not reported as failed before the state has been read
// again, since a commit that returned an error may have been made:
// [ErrUnknown] says that it could not be read.
package store
