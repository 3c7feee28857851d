// Package web is the page of the service: lots in, designs on a map. Its source
// is in page/, built by Vite into dist/, which is embedded as it is; nothing it
// loads lies on another host, and its security policy says so to the browser.
package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"
)

//go:embed dist
var dist embed.FS

// Policy is the Content-Security-Policy of every answer: nothing from another
// host, nothing inline, no forms that leave and no frame around it.
const Policy = "default-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; object-src 'none'"

// index is the page; all else is named by its content.
const index = "index.html"

// mediaTypes are those of the files that a build makes, by extension. Go's own
// table follows the machine's, which may lack one.
var mediaTypes = map[string]string{
	".css":     "text/css; charset=utf-8",
	".geojson": "application/geo+json",
	".html":    "text/html; charset=utf-8",
	".js":      "text/javascript; charset=utf-8",
	".svg":     "image/svg+xml",
}

// file is what is answered at a path.
type file struct {
	content   []byte
	mediaType string
	etag      string
	cache     string
}

// Handler answers GET and HEAD for the page at / and for its files below
// /assets/; everything else is not found.
func Handler() (http.Handler, error) {
	files, err := read(dist)
	if err != nil {
		return nil, err
	}
	return handler(files), nil
}

// read lists the files of a build by the paths at which they are served.
func read(build fs.FS) (map[string]file, error) {
	files := map[string]file{}
	err := fs.WalkDir(build, "dist", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := fs.ReadFile(build, name)
		if err != nil {
			return err
		}
		name = strings.TrimPrefix(name, "dist/")
		f, err := newFile(name, content)
		files["/"+strings.TrimSuffix(name, index)] = f
		return err
	})
	return files, err
}

func newFile(name string, content []byte) (file, error) {
	mediaType, known := mediaTypes[path.Ext(name)]
	if !known {
		return file{}, fmt.Errorf("bug in server/web: no media type for %s", name)
	}
	sum := sha256.Sum256(content)
	f := file{content: content, mediaType: mediaType, etag: `"` + hex.EncodeToString(sum[:16]) + `"`, cache: "no-cache"}
	if strings.HasPrefix(name, "assets/") { // its name changes with its content
		f.cache = "public, max-age=31536000, immutable"
	}
	return f, nil
}

func handler(files map[string]file) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		secure(w.Header())
		f, found := files[r.URL.Path]
		switch {
		case !found:
			http.Error(w, "nothing is served at this path", http.StatusNotFound)
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "want GET or HEAD", http.StatusMethodNotAllowed)
		default:
			f.serve(w, r)
		}
	}
}

// serve answers whole, in part, or that nothing changed.
func (f file) serve(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Type", f.mediaType)
	h.Set("Cache-Control", f.cache)
	h.Set("ETag", f.etag)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(f.content))
}

func secure(h http.Header) {
	h.Set("Content-Security-Policy", Policy)
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("X-Content-Type-Options", "nosniff")
}
