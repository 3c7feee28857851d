package project

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Limits on well-known text, far above what a definition holds.
const (
	wktBytes = 64 << 10
	wktDepth = 16
)

// wktNode is KEYWORD["text", number, WORD, CHILD[…], …]; its arguments are
// kept by kind, each kind in its order. Bare words (axis directions) are
// dropped.
type wktNode struct {
	keyword  string
	texts    []string
	numbers  []float64
	children []wktNode
}

// name is the first text.
func (n wktNode) name() string {
	if len(n.texts) == 0 {
		return ""
	}
	return n.texts[0]
}

// number is the first number, or else otherwise.
func (n wktNode) number(otherwise float64) float64 {
	if len(n.numbers) == 0 {
		return otherwise
	}
	return n.numbers[0]
}

// child returns the first child with one of the keywords.
func (n wktNode) child(keywords ...string) (wktNode, bool) {
	i := slices.IndexFunc(n.children, func(c wktNode) bool { return slices.Contains(keywords, c.keyword) })
	if i < 0 {
		return wktNode{}, false
	}
	return n.children[i], true
}

// wktReader reads well-known text.
type wktReader struct {
	text string
	pos  int
}

func readWKT(text string) (wktNode, error) {
	if len(text) > wktBytes {
		return wktNode{}, fmt.Errorf("its definition is longer than %d bytes", wktBytes)
	}
	r := &wktReader{text: strings.TrimPrefix(text, "\ufeff")}
	node, err := r.node(r.word(), 0)
	if err == nil && r.peek() != 0 {
		err = r.fault()
	}
	return node, err
}

func (r *wktReader) fault() error {
	return fmt.Errorf("its definition is not well-known text, at byte %d", r.pos)
}

// peek skips blanks and returns the next byte; 0 at the end.
func (r *wktReader) peek() byte {
	for r.pos < len(r.text) && strings.IndexByte(" \t\r\n\x00", r.text[r.pos]) >= 0 {
		r.pos++
	}
	if r.pos == len(r.text) {
		return 0
	}
	return r.text[r.pos]
}

// word consumes letters, digits and what numbers are written with.
func (r *wktReader) word() string {
	r.peek()
	from := r.pos
	for r.pos < len(r.text) && strings.IndexByte(" \t\r\n\x00[](),\"", r.text[r.pos]) < 0 {
		r.pos++
	}
	return r.text[from:r.pos]
}

// node reads the arguments that follow a keyword.
func (r *wktReader) node(keyword string, depth int) (wktNode, error) {
	n := wktNode{keyword: strings.ToUpper(keyword)}
	closing := map[byte]byte{'[': ']', '(': ')'}[r.peek()]
	if keyword == "" || closing == 0 {
		return n, r.fault()
	}
	if depth == wktDepth {
		return n, errors.New("its definition is nested too deep")
	}
	for {
		r.pos++ // past the opening or the comma
		if err := r.argument(&n, depth); err != nil {
			return n, err
		}
		switch r.peek() {
		case ',':
		case closing:
			r.pos++
			return n, nil
		default:
			return n, r.fault()
		}
	}
}

func (r *wktReader) argument(n *wktNode, depth int) error {
	if r.peek() == '"' {
		text, err := r.quoted()
		n.texts = append(n.texts, text)
		return err
	}
	word := r.word()
	if next := r.peek(); next == '[' || next == '(' {
		child, err := r.node(word, depth+1)
		n.children = append(n.children, child)
		return err
	}
	if v, err := strconv.ParseFloat(word, 64); err == nil {
		n.numbers = append(n.numbers, v)
	}
	return nil
}

// quoted reads a text in quotation marks; a doubled one stands for itself.
func (r *wktReader) quoted() (string, error) {
	var b strings.Builder
	for {
		end := strings.IndexByte(r.text[r.pos+1:], '"')
		if end < 0 {
			return "", r.fault()
		}
		b.WriteString(r.text[r.pos+1 : r.pos+1+end])
		r.pos += end + 2
		if !strings.HasPrefix(r.text[r.pos:], `"`) {
			return b.String(), nil
		}
		b.WriteByte('"')
	}
}
