package ogc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"
	"time"

	"lotwright/server/store"
)

// Prefix is the path below which a [Handler] answers: /ogc/{batch}/.
const Prefix = "/ogc/"

// Reader is what is asked of a store.
type Reader interface {
	Batch(ctx context.Context, t store.Tenant, id string) (store.Batch, error)
	OperationOf(ctx context.Context, t store.Tenant, batch string, revision int) (store.Operation, error)
	Designs(ctx context.Context, t store.Tenant, batch string, revision, after, n int) ([]store.Design, error)
}

// Options are what a [Handler] is made of. Store and Features must be there.
type Options struct {
	Store Reader
	// Features takes a stored design apart into its features, each as package
	// layout/feature wrote it.
	Features func(store.Design) ([][]byte, error)
	// Tenant is whose batches a request is about; nil means store.Local.
	Tenant func(context.Context) store.Tenant

	// Export is where the whole of a batch is to be had as a GeoPackage, from /
	// on; nil means nowhere.
	Export func(batch string) string

	// BaseURL is what links begin with, up to but without /ogc/, where clients
	// see the service elsewhere than it is: behind a proxy.
	BaseURL string
	// Forwarded believes what a proxy says of that (X-Forwarded-Proto, -Host and
	// -Prefix). Without a proxy that sets them, clients could.
	Forwarded bool

	Now func() time.Time // nil means time.Now
	Log *slog.Logger     // nil means slog.Default
}

// atOnce is how many requests are worked on at a time; others wait.
const atOnce = 8

// Handler answers GET and HEAD below [Prefix]. It is made by [New].
type Handler struct {
	options Options
	working chan struct{}
	indexes kept[indexKey, *index]
	lots    kept[lotKey, lotFeatures]
}

// New returns a handler, or says which option is missing or wrong.
func New(o Options) (*Handler, error) {
	if o.Store == nil || o.Features == nil {
		return nil, errors.New("bug in ogc.New: want a store and a way to read designs")
	}
	if err := CheckBaseURL(o.BaseURL); err != nil {
		return nil, err
	}
	o.BaseURL = strings.TrimRight(o.BaseURL, "/")
	if o.Tenant == nil {
		o.Tenant = func(context.Context) store.Tenant { return store.Local }
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	return &Handler{options: o, working: make(chan struct{}, atOnce), indexes: keep[indexKey, *index](indexRoom), lots: keep[lotKey, lotFeatures](lotRoom)}, nil
}

// CheckBaseURL says what is wrong with a base URL; none is right.
func CheckBaseURL(text string) error {
	u, err := url.Parse(text)
	if text != "" && (err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil) {
		return fmt.Errorf("base URL %q: want http:// or https://, a host and perhaps a path", text)
	}
	return nil
}

// call is a request on its way to its answer.
type call struct {
	*Handler
	ctx    context.Context
	tenant store.Tenant
	batch  store.Batch
	vars   map[string]string // parts of the path
	query  map[string]string
	base   string // what all URLs begin with
	root   string // URL of the landing page, without the slash at its end
	self   string // URL of this request
}

// route is a resource: its path below the landing page, where {x} takes any one
// part, and the parameters it knows beside f.
type route struct {
	path  string
	query []string
	serve func(call) (answer, error)
}

var routes = []route{
	{"", nil, call.landing},
	{"conformance", nil, call.conformance},
	{"api", nil, call.openAPI},
	{"collections", nil, call.collections},
	{"collections/{collection}", nil, call.collection},
	{"collections/{collection}/schema", nil, call.schema},
	{"collections/{collection}/items", itemParameters, call.items},
	{"collections/{collection}/items/{feature}", []string{"crs"}, call.item},
	{"tiles", nil, call.tilesets},
	{"tiles/" + matrixSet, nil, call.tileset},
	{"tiles/" + matrixSet + "/{matrix}/{row}/{col}", nil, call.tile},
}

// ServeHTTP answers.
func (h *Handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	header := w.Header()
	header.Set("Cache-Control", "no-store") // tools keep what they may beyond their sessions, and count by it
	header.Set("X-Content-Type-Options", "nosniff")
	a, err := h.answer(r)
	if r.Context().Err() != nil {
		return // nobody is there
	}
	if err != nil {
		a = h.problem(r, err)
	}
	a.write(w, r)
}

// answer works out what to say; a panic on the way is an error, with its stack in
// the log.
func (h *Handler) answer(r *http.Request) (a answer, err error) {
	defer func() {
		if p := recover(); p != nil {
			h.options.Log.Error("panic", "path", r.URL.Path, "panic", p, "stack", string(debug.Stack()))
			err = errPanic
		}
	}()
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		return answer{}, &fault{http.StatusMethodNotAllowed, "METHOD_NOT_ALLOWED", "want GET or HEAD"}
	}
	select {
	case h.working <- struct{}{}:
		defer func() { <-h.working }()
	case <-r.Context().Done():
		return answer{}, r.Context().Err()
	}
	c, route, err := h.call(r)
	if err != nil {
		return answer{}, err
	}
	return route.serve(c)
}

var errPanic = errors.New("panic")

// call finds out what a request is about.
func (h *Handler) call(r *http.Request) (c call, found route, err error) {
	parts := strings.FieldsFunc(strings.TrimPrefix(r.URL.Path, Prefix), func(r rune) bool { return r == '/' })
	if len(parts) == 0 {
		return c, found, notFound("want %s, the id of a batch, and a slash", Prefix)
	}
	vars, found, ok := match(parts[1:])
	if !ok {
		return c, found, notFound("nothing is served at this path")
	}
	base, err := h.base(r)
	if err != nil {
		return c, found, err
	}
	c = call{Handler: h, ctx: r.Context(), tenant: h.options.Tenant(r.Context()), vars: vars, base: base, root: base + strings.TrimSuffix(Prefix, "/") + "/" + url.PathEscape(parts[0])}
	c.self = c.root + "/" + strings.Join(parts[1:], "/")
	if c.query, err = parameters(r.URL.RawQuery); err != nil {
		return c, found, err
	}
	if r.URL.RawQuery != "" {
		c.self += "?" + r.URL.RawQuery
	}
	if err := c.allow(found); err != nil {
		return c, found, err
	}
	c.batch, err = h.options.Store.Batch(c.ctx, c.tenant, parts[0])
	return c, found, err
}

// match finds the route of a path.
func match(parts []string) (vars map[string]string, found route, ok bool) {
	for _, r := range routes {
		if vars, ok := fits(strings.Split(r.path, "/"), parts); ok || r.path == "" && len(parts) == 0 {
			return vars, r, true
		}
	}
	return nil, route{}, false
}

func fits(pattern, parts []string) (map[string]string, bool) {
	if len(pattern) != len(parts) {
		return nil, false
	}
	vars := map[string]string{}
	for i, p := range pattern {
		if name, ok := strings.CutPrefix(p, "{"); ok {
			vars[strings.TrimSuffix(name, "}")] = parts[i]
		} else if p != parts[i] {
			return nil, false
		}
	}
	return vars, true
}
