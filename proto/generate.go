// Package proto holds the service definitions, with the Go code generated from
// them beside them. The files under google are vendored under their own
// licence.
package proto

//go:generate go tool -modfile=../.ci/tools/go.mod buf generate --template buf.gen.yaml --path lotwright
