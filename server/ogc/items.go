package ogc

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"lotwright/layout/feature"
)

// itemParameters are those of items, beside the properties of the collection.
var itemParameters = []string{"limit", "bbox", "bbox-crs", "datetime", "crs", "after"}

// mostContent is how many bytes of features make a page full before its limit.
const mostContent = 8 << 20

// mark is where a page begins: behind a feature of a revision.
type mark struct {
	revision int
	id       int64
}

// mark reads the parameter after.
func (c call) mark() (mark, error) {
	text, ok := c.query["after"]
	if !ok {
		return mark{}, nil
	}
	revision, id, _ := strings.Cut(text, ".")
	r, errR := strconv.ParseUint(revision, 10, 31)
	n, errN := strconv.ParseInt(id, 10, 64)
	if errR != nil || errN != nil || r == 0 || n < 0 {
		return mark{}, badRequest("after: got %q, want what stands in a next link", text)
	}
	return mark{int(r), n}, nil
}

// selection is what is asked of a collection's features.
type selection struct {
	call
	layer      feature.Layer
	index      *index
	mark       mark
	limit      int
	crs        system
	area       *area
	conditions []condition
}

func (c call) selection() (s selection, err error) {
	s.call = c
	if s.layer, err = c.layer(); err != nil {
		return s, err
	}
	if s.limit, err = c.limit(); err != nil {
		return s, err
	}
	if err = c.checkDatetime(); err != nil {
		return s, err
	}
	if s.conditions, err = c.conditions(s.layer); err != nil {
		return s, err
	}
	if s.mark, err = c.mark(); err != nil {
		return s, err
	}
	if s.index, err = c.index(s.mark.revision); err != nil {
		return s, err
	}
	if s.crs, err = c.system("crs", s.index); err != nil {
		return s, err
	}
	s.area, err = c.area(s.index)
	return s, err
}

// items answers with a page of features.
func (c call) items() (answer, error) {
	s, err := c.selection()
	if err != nil {
		return answer{}, err
	}
	chosen, err := s.choose()
	if err != nil {
		return answer{}, err
	}
	p, err := s.page(behind(chosen, s.mark.id))
	if err != nil {
		return answer{}, err
	}
	if len(s.conditions) == 0 {
		p.matched = len(chosen)
	}
	return answer{mediaType: geoJSONType, header: s.crs.header(), body: s.document(p)}, nil
}

// choose lists the features of the place and the lot that are asked for; those
// whose bounds leave it open are read.
func (s selection) choose() (chosen []entry, err error) {
	entries := s.index.tables[s.layer.Name].entries
	if lot, ok := s.query["lot"]; ok {
		entries = s.ofLot(entries, lot)
	}
	if s.area == nil {
		return entries, nil
	}
	for i, e := range entries {
		switch s.area.judge(e.bounds) {
		case inside:
			chosen = append(chosen, e)
		case perhaps:
			f, err := s.feature(s.index, s.layer.Name, e, e.lot)
			if err != nil {
				return nil, err
			}
			if ok, err := s.area.meets(f); err != nil || !ok {
				if err != nil {
					return nil, fmt.Errorf("%s %d: %w", s.layer.Name, e.id(), err)
				}
				continue
			}
			chosen = append(chosen, e)
		}
		if i%1024 == 0 && s.ctx.Err() != nil {
			return nil, s.ctx.Err()
		}
	}
	return chosen, nil
}

func (s selection) ofLot(entries []entry, id string) []entry {
	i := slices.IndexFunc(s.index.lots, func(l lotRow) bool { return l.id == id })
	if i < 0 {
		return nil
	}
	first := int64(s.index.lots[i].number) * perLot
	from, to := behind(entries, first), behind(entries, first+perLot-1)
	return from[:len(from)-len(to)]
}

// page is what is answered with.
type page struct {
	features []byte // separated by commas
	returned int
	matched  int   // -1: not counted
	last     int64 // id of the last feature; 0: nothing is left behind it
}

// page reads features until the page is full.
func (s selection) page(entries []entry) (p page, err error) {
	p.matched = -1
	for i, e := range entries {
		if err := s.ctx.Err(); err != nil {
			return p, err
		}
		f, err := s.feature(s.index, s.layer.Name, e, s.ahead(entries, i, p))
		if err != nil {
			return p, err
		}
		if ok, err := s.meets(f); err != nil || !ok {
			if err != nil {
				return p, err
			}
			continue
		}
		if p.returned == s.limit || len(p.features) >= mostContent {
			return p, nil // with the last one that there was room for
		}
		if p.returned > 0 {
			p.features = append(p.features, ",\n"...)
		}
		if p.features, err = s.crs.appendFeature(p.features, e.id(), f); err != nil {
			return p, err
		}
		p.features = append(p.features, '}')
		p.returned++
		p.last = e.id()
	}
	p.last = 0
	return p, nil
}

// ahead is the number of the last lot that the page may need.
func (s selection) ahead(entries []entry, i int, p page) int32 {
	return entries[min(i+s.limit-p.returned, len(entries)-1)].lot
}

func (s selection) meets(f encoded) (bool, error) {
	if len(s.conditions) == 0 {
		return true, nil
	}
	values, err := f.values()
	for _, c := range s.conditions {
		if err != nil || !c.holds(values) {
			return false, err
		}
	}
	return true, nil
}

// document is the feature collection.
func (s selection) document(p page) []byte {
	links := []link{
		s.selfLink(geoJSONType),
		s.link("collection", jsonType, title(s.layer), "collections/"+s.layer.Name),
		s.link("describedby", schemaType, "the schema of the features", "collections/"+s.layer.Name+"/schema"),
	}
	if p.last != 0 {
		links = append(links, link{Href: s.next(p.last), Rel: "next", Type: geoJSONType, Title: "what follows"})
	}
	head := ordered{{"type", "FeatureCollection"}, {"timeStamp", s.options.Now().UTC().Format(time.RFC3339)}}
	if p.matched >= 0 {
		head = append(head, member{"numberMatched", p.matched})
	}
	head = append(head, member{"numberReturned", p.returned}, member{"links", links})
	text := document("", head).body
	text = append(text[:len(text)-len("}\n")], `,"features":[`+"\n"...)
	return append(append(text, p.features...), "\n]}\n"...)
}

// next is the URL of what follows a feature.
func (s selection) next(id int64) string {
	query := url.Values{}
	for name, value := range s.query {
		query.Set(name, value)
	}
	query.Set("after", fmt.Sprintf("%d.%d", s.index.operation.Revision, id))
	return s.root + "/collections/" + s.layer.Name + "/items?" + query.Encode()
}

// item answers with one feature.
func (c call) item() (answer, error) {
	l, err := c.layer()
	if err != nil {
		return answer{}, err
	}
	x, err := c.index(0)
	if err != nil {
		return answer{}, err
	}
	crs, err := c.system("crs", x)
	if err != nil {
		return answer{}, err
	}
	id, err := strconv.ParseInt(c.vars["feature"], 10, 64)
	list := behind(x.tables[l.Name].entries, id-1)
	if err != nil || len(list) == 0 || list[0].id() != id {
		return answer{}, notFound("there is no %s %q", l.Name, c.vars["feature"])
	}
	f, err := c.feature(x, l.Name, list[0], 0)
	if err != nil {
		return answer{}, err
	}
	body, err := crs.appendFeature(nil, id, f)
	if err != nil {
		return answer{}, err
	}
	links := []link{c.selfLink(geoJSONType), c.link("collection", jsonType, title(l), "collections/"+l.Name)}
	body = append(append(body, `,"links":`...), document("", links).body...)
	return answer{mediaType: geoJSONType, header: crs.header(), body: append(body, "}\n"...)}, nil
}
