// Command subdivision writes the files of the invented subdivision Larkenfold.
//
//	go run ./testdata/subdivision -o testdata/lots/larkenfold
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"lotwright/testdata/subdivision/plat"
)

func main() {
	dir := flag.String("o", filepath.Join("testdata", "lots", "larkenfold"), "folder to write to")
	seed := flag.Uint64("seed", plat.DefaultSeed, "of the small differences between houses")
	flag.Parse()
	if err := write(*dir, *seed); err != nil {
		fmt.Fprintln(os.Stderr, "subdivision:", err)
		os.Exit(1)
	}
}

func write(dir string, seed uint64) error {
	files, err := plat.Generate(seed).Files()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(dir, f.Name), f.Data, 0o644); err != nil {
			return err
		}
	}
	return nil
}
