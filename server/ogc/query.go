package ogc

import (
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// parameters reads a query in which every parameter stands once.
func parameters(raw string) (map[string]string, error) {
	values, err := url.ParseQuery(raw)
	if err != nil {
		return nil, badRequest("query: %v", err)
	}
	out := map[string]string{}
	for name, list := range values {
		if len(list) != 1 {
			return nil, badRequest("parameter %s is given %d times", name, len(list))
		}
		out[name] = list[0]
	}
	return out, nil
}

// allow refuses parameters that a resource does not know (17-069r4, requirement
// /req/core/query-param-unknown), and every format but the one there is.
func (c call) allow(r route) error {
	known := append([]string{"f"}, r.query...)
	if r.path == "collections/{collection}/items" {
		if l, ok := layerOf(c.vars["collection"]); ok {
			known = append(known, filters(l)...)
		}
	}
	var names []string
	for name := range c.query {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		if !slices.Contains(known, name) {
			return badRequest("parameter %q: there is no such parameter here; known are %s", name, strings.Join(known, ", "))
		}
	}
	if f, ok := c.query["f"]; ok && f != "json" {
		return badRequest("f: got %q, want json", f)
	}
	return nil
}

// Bounds of the parameter limit: how many features a page may hold.
const (
	leastLimit = 1
	usualLimit = 1000
	mostLimit  = 10000
)

// limit reads the parameter; more than there may be is as much as there may be.
func (c call) limit() (int, error) {
	text, ok := c.query["limit"]
	if !ok {
		return usualLimit, nil
	}
	n, err := strconv.ParseUint(text, 10, 31)
	if err != nil || n < leastLimit {
		return 0, badRequest("limit: got %q, want a whole number from %d to %d", text, leastLimit, mostLimit)
	}
	return min(int(n), mostLimit), nil
}

// checkDatetime checks a moment or an interval (17-069r4, section 7.15.4). Features
// bear no time, so every one that is well formed matches all of them.
func (c call) checkDatetime() error {
	text, ok := c.query["datetime"]
	if !ok {
		return nil
	}
	from, to, interval := strings.Cut(text, "/")
	begin, err := moment(from, interval)
	if err != nil {
		return badRequest("datetime: %v", err)
	}
	if !interval {
		return nil
	}
	end, err := moment(to, true)
	switch {
	case err != nil:
		return badRequest("datetime: %v", err)
	case begin.IsZero() && end.IsZero():
		return badRequest("datetime: got %q, want at least one end of the interval", text)
	case !begin.IsZero() && !end.IsZero() && end.Before(begin):
		return badRequest("datetime: got %q, which ends before it begins", text)
	}
	return nil
}

// moment reads a date-time of RFC 3339 or, as many clients send, a date; an open
// end of an interval is the zero time.
func moment(text string, mayBeOpen bool) (time.Time, error) {
	if mayBeOpen && (text == "" || text == "..") {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.RFC3339, strings.ToUpper(text)); err == nil {
		return t, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return t, badRequest("got %q, want a moment such as 2026-05-01T12:00:00Z", text)
	}
	return t, nil
}
