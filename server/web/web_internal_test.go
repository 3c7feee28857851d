package web

import (
	"io/fs"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func get(t *testing.T, method, path string, header http.Header) *httptest.ResponseRecorder {
	t.Helper()
	h, err := Handler()
	require.NoError(t, err)
	r := httptest.NewRequest(method, path, nil)
	for name, v := range header {
		r.Header[name] = v
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// embedded are the files of the build, by the paths that a browser asks for.
func embedded(t *testing.T) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	require.NoError(t, fs.WalkDir(dist, "dist", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := dist.ReadFile(name)
		files["/"+strings.TrimSuffix(strings.TrimPrefix(name, "dist/"), "index.html")] = content
		return err
	}))
	return files
}

func TestEveryFileIsServed(t *testing.T) {
	files := embedded(t)
	require.Contains(t, files, "/")
	require.Greater(t, len(files), 3)
	types := map[string]string{".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml", ".geojson": "application/geo+json"}
	for path, content := range files {
		w := get(t, http.MethodGet, path, nil)
		assert.Equal(t, http.StatusOK, w.Code, path)
		assert.Equal(t, content, w.Body.Bytes(), path)
		assert.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"), path)
		assert.True(t, strings.HasPrefix(w.Header().Get("Content-Security-Policy"), "default-src 'self';"), path)
		want, cache := "text/html; charset=utf-8", "no-cache"
		if path != "/" {
			want, cache = types[path[strings.LastIndex(path, "."):]], "public, max-age=31536000, immutable"
		}
		assert.Equal(t, want, w.Header().Get("Content-Type"), path)
		assert.Equal(t, cache, w.Header().Get("Cache-Control"), path)

		again := get(t, http.MethodGet, path, http.Header{"If-None-Match": {w.Header().Get("ETag")}})
		assert.Equal(t, http.StatusNotModified, again.Code, path)
		assert.Empty(t, again.Body.Bytes(), path)
		head := get(t, http.MethodHead, path, nil)
		assert.Equal(t, http.StatusOK, head.Code, path)
		assert.Empty(t, head.Body.Bytes(), path)
	}
}

// TestPolicyHolds: the page asks for nothing that its own policy forbids:
// nothing inline, nothing from another host.
func TestPolicyHolds(t *testing.T) {
	page := string(embedded(t)["/"])
	assert.NotRegexp(t, `(src|href)="(https?:)?//`, page)
	assert.NotRegexp(t, `<style|\sstyle=|\son[a-z]+=`, page)
	for _, script := range regexp.MustCompile(`<script[^>]*>[^<]*`).FindAllString(page, -1) {
		assert.Regexp(t, `src="\./assets/[^"]+">$`, script)
	}
	for _, link := range regexp.MustCompile(`(?:src|href)="\./([^"]+)"`).FindAllStringSubmatch(page, -1) {
		assert.Equal(t, http.StatusOK, get(t, http.MethodGet, "/"+link[1], nil).Code, link[1])
	}
}

func TestElsewhereIsNothing(t *testing.T) {
	for _, path := range []string{"/index.html", "/assets/", "/assets/none.js", "/dist/index.html", "/assets/../web.go", "/favicon.ico"} {
		w := get(t, http.MethodGet, path, nil)
		assert.Equal(t, http.StatusNotFound, w.Code, path)
		assert.Equal(t, Policy, w.Header().Get("Content-Security-Policy"), path)
	}
}

func TestOnlyReading(t *testing.T) {
	for _, method := range []string{http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodOptions} {
		w := get(t, method, "/", nil)
		assert.Equal(t, http.StatusMethodNotAllowed, w.Code, method)
		assert.Equal(t, "GET, HEAD", w.Header().Get("Allow"), method)
	}
}

func TestUnknownTypeIsCaught(t *testing.T) {
	_, err := read(fstest.MapFS{"dist/a.xyz": {}})
	assert.ErrorContains(t, err, "a.xyz")
}
