package rpc

import (
	"encoding/base64"
	"encoding/json"
	"strconv"
)

// Sizes of pages.
const (
	usualPage    = 100
	usualDesigns = 50
	mostPage     = 1000
)

// page is where a list goes on, and which list it is. Its text is opaque to
// clients; made up by one it leads nowhere else, since what is found is bounded
// by the tenant of the call.
type page struct {
	List     string `json:"l"`
	Parent   string `json:"p,omitempty"`
	Revision int    `json:"r,omitempty"`
	After    string `json:"a"`
}

// from is the token of the page behind after.
func (p page) from(after string) string {
	p.After = after
	text, err := json.Marshal(p)
	if err != nil {
		panic("bug in page.from: " + err.Error())
	}
	return base64.RawURLEncoding.EncodeToString(text)
}

// page checks what steers a list and returns its size. p says which list it is;
// where it goes on is filled in.
func (c *checker) page(p *page, size int32, usual int, token string) int {
	if size < 0 {
		c.add("page_size", "got %d, want 0 or more", size)
	}
	if size == 0 {
		size = int32(usual)
	}
	c.goOn("page_token", p, token)
	return min(int(size), mostPage)
}

// goOn fills in where a list goes on. A revision that is not asked for is that of
// the token.
func (c *checker) goOn(field string, p *page, token string) {
	if token == "" {
		return
	}
	got, err := readPage(token)
	want := *p
	if want.After = got.After; want.Revision == 0 {
		want.Revision = got.Revision
	}
	if err != nil || got != want {
		c.add(field, "got %s, which is none of this list", quoted(token))
		return
	}
	*p = got
}

func readPage(token string) (p page, err error) {
	text, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil {
		return p, err
	}
	return p, json.Unmarshal(text, &p)
}

// number is the place in a list that counts.
func (c *checker) number(field, after string) int {
	if after == "" {
		return 0
	}
	n, err := strconv.Atoi(after)
	if err != nil || n < 0 {
		c.add(field, "it is none of this list")
	}
	return n
}

// quoted is a client's text for an answer.
func quoted(s string) string { return strconv.Quote(clipped(s)) }
