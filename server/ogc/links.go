package ogc

import (
	"net/http"
	"regexp"
	"strings"
)

// Media types.
const (
	jsonType    = "application/json"
	geoJSONType = "application/geo+json"
	schemaType  = "application/schema+json"
	openAPIType = "application/vnd.oai.openapi+json;version=3.0"
	tileType    = "application/vnd.mapbox-vector-tile"
	problemType = "application/problem+json"
	fileType    = "application/geopackage+sqlite3"
)

// Relations that OGC registers.
const (
	relConformance = "conformance"
	relData        = "data"
	relTilesets    = "http://www.opengis.net/def/rel/ogc/1.0/tilesets-vector"
	relTiling      = "http://www.opengis.net/def/rel/ogc/1.0/tiling-scheme"
)

// link is a web link (RFC 8288) as JSON.
type link struct {
	Href      string `json:"href"`
	Rel       string `json:"rel"`
	Type      string `json:"type,omitempty"`
	Title     string `json:"title,omitempty"`
	Templated bool   `json:"templated,omitempty"`
}

func (c call) link(rel, mediaType, title, path string) link {
	return link{Href: c.root + "/" + path, Rel: rel, Type: mediaType, Title: title}
}

func (c call) selfLink(mediaType string) link {
	return link{Href: c.self, Rel: "self", Type: mediaType, Title: "this document"}
}

// Shapes of what a proxy may say.
var (
	forwardedHost   = regexp.MustCompile(`^[A-Za-z0-9.\-]+(:[0-9]{1,5})?$|^\[[0-9A-Fa-f:.]+\](:[0-9]{1,5})?$`)
	forwardedPrefix = regexp.MustCompile(`^(/[A-Za-z0-9._~\-]+)+$`)
)

// base is what links begin with.
func (h *Handler) base(r *http.Request) (string, error) {
	if h.options.BaseURL != "" {
		return h.options.BaseURL, nil
	}
	scheme, host, prefix := "http", r.Host, ""
	if r.TLS != nil {
		scheme = "https"
	}
	if h.options.Forwarded {
		scheme = first(r.Header.Get("X-Forwarded-Proto"), scheme)
		host = first(r.Header.Get("X-Forwarded-Host"), host)
		prefix = strings.TrimRight(first(r.Header.Get("X-Forwarded-Prefix"), ""), "/")
	}
	if scheme != "http" && scheme != "https" || !forwardedHost.MatchString(host) || prefix != "" && !forwardedPrefix.MatchString(prefix) {
		return "", badRequest("the service cannot tell under which address it was asked for: scheme %q, host %q, prefix %q", scheme, host, prefix)
	}
	return scheme + "://" + host + prefix, nil
}

// first is the first of a list that proxies on the way make longer.
func first(list, otherwise string) string {
	head, _, _ := strings.Cut(list, ",")
	if head = strings.TrimSpace(head); head != "" {
		return head
	}
	return otherwise
}
