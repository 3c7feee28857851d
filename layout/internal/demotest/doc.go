// Package demotest holds the tests of the invented data under testdata, which
// ./... does not reach.
package demotest
