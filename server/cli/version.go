package cli

import (
	"fmt"
	"runtime/debug"
)

// versionCommand prints what was built, and with what.
type versionCommand struct{}

// Run prints one line.
func (versionCommand) Run(c *console) error {
	_, err := fmt.Fprintln(c.out, versionLine())
	return err
}

// versionLine gives the module's version, the commit it was built from where
// the build recorded one, and the Go release.
func versionLine() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "lotwright (build information missing)"
	}
	version, revision := info.Main.Version, ""
	if version == "" {
		version = "(devel)"
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			revision = " " + s.Value
		}
	}
	return fmt.Sprintf("lotwright %s%s %s", version, revision, info.GoVersion)
}
