package rpc

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"path"
	"slices"
	"time"

	"lotwright/layout"
)

// packetPath is where one lot is taken and everything that a crew needs for it is
// given: sheet, parts, run times, pressures and the design itself.
const packetPath = "/v1/lots:packet"

// PacketSettings say how a packet is printed.
type PacketSettings struct {
	Paper string // letter or a4
	Units string // us or metric
	Date  string // such as 2026-05-01; empty: today

	Edited bool // the body holds a design whose heads were moved, which is to be rechecked and not designed anew
}

// PacketFile is a file of a packet.
type PacketFile struct {
	Name    string
	Content []byte
}

// partTypes are the media types of a packet's files, by ending.
var partTypes = map[string]string{
	".csv": "text/csv; charset=utf-8", ".geojson": "application/geo+json", ".ics": "text/calendar; charset=utf-8", ".inp": "text/plain; charset=utf-8",
	".json": jsonType, ".pdf": "application/pdf", ".svg": "image/svg+xml", ".txt": "text/plain; charset=utf-8",
	".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}

// servePacket answers POST on [packetPath].
func (s *Server) servePacket(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	s.serveWhole(w, packetPath, func(w http.ResponseWriter) error {
		how, part, settings, err := queryPacket(r.URL.RawQuery, s.options.Check)
		if err != nil {
			return err
		}
		work := fileWork{packetPath, s.options.Open, s.design}
		if how.Edited {
			work = fileWork{packetPath, s.options.OpenEdited, s.recheck}
		}
		source, err := s.openFile(w, r, work.open)
		if err != nil {
			return err
		}
		defer source.Close()
		if n := source.Len(); n != 1 {
			return invalidFields([]violation{{"body", fmt.Sprintf("holds %d lots, want one", n)}})
		}
		files, err := s.packet(r.Context(), s.item(source, 0), work, settings, how)
		if err != nil {
			return err
		}
		return writePacket(w, source.ID(0), part, files)
	})
}

// packet works a lot out and makes its packet.
func (s *Server) packet(ctx context.Context, item Item, work fileWork, settings Settings, how PacketSettings) (files []PacketFile, err error) {
	if err := s.workers.take(ctx); err != nil {
		return nil, err
	}
	defer s.workers.give()
	d := work.do(ctx, item, settings)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case item.Lot == nil || len(d.Heads) == 0:
		return nil, &Refusal{Rule: "packet.no_design", Text: "there is nothing to build: " + d.Reason, Lot: d.LotID}
	}
	err = s.recovered("Packet", func() error {
		files, err = s.options.Packet(ctx, item.Lot, d, settings, how)
		return err
	})
	return files, err
}

// queryPacket takes the parameters of a packet from those of a design.
func queryPacket(rawQuery string, check func(Settings) error) (how PacketSettings, part string, s Settings, err error) {
	values, err := url.ParseQuery(rawQuery)
	var c checker
	if err != nil {
		c.add("query", "%v", err)
		return how, part, s, c.err()
	}
	one := func(name, usual string, choice ...string) string {
		texts := values[name]
		delete(values, name)
		switch {
		case len(texts) == 0:
			return usual
		case len(texts) > 1:
			c.add(name, "given %d times", len(texts))
		case len(choice) > 0 && !slices.Contains(choice, texts[0]):
			c.add(name, "got %.80q, want one of %q", texts[0], choice)
		}
		return texts[0]
	}
	how = PacketSettings{Paper: one("paper", "letter", "letter", "a4"), Units: one("units", "us", "us", "metric"), Date: one("date", ""), Edited: one("edited", "false", "true", "false") == "true"}
	if part = one("part", ""); how.Date != "" {
		if _, err := time.Parse(time.DateOnly, how.Date); err != nil {
			c.add("date", "%.80q is not a date such as 2026-05-01", how.Date)
		}
	}
	if err := c.err(); err != nil {
		return how, part, s, err
	}
	s, err = querySettings(values.Encode(), check)
	return how, part, s, err
}

// writePacket answers with one file of a packet, or with all of them as a zip.
func writePacket(w http.ResponseWriter, lot, part string, files []PacketFile) error {
	if part == "" {
		text, err := zipped(files)
		if err != nil {
			return err
		}
		return writePart(w, archiveType, lot+".zip", text)
	}
	var names []string
	for _, f := range files {
		if f.Name == part {
			return writePart(w, partTypes[path.Ext(part)], lot+"-"+part, f.Content)
		}
		names = append(names, f.Name)
	}
	return invalidFields([]violation{{"part", fmt.Sprintf("got %.80q, want one of %q", part, names)}})
}

func writePart(w http.ResponseWriter, mediaType, name string, text []byte) error {
	w.Header().Set("Content-Type", mediaType)
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	_, err := w.Write(text)
	return err
}

// zipped packs files without times, so that the same files are the same bytes.
func zipped(files []PacketFile) ([]byte, error) {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, f := range files {
		to, err := z.Create(f.Name)
		if err != nil {
			return nil, err
		}
		if _, err := to.Write(f.Content); err != nil {
			return nil, err
		}
	}
	err := z.Close()
	return out.Bytes(), err
}

// PacketMaker makes the packet of a lot that was designed with settings.
type PacketMaker func(ctx context.Context, lot *layout.Lot, d *layout.Design, s Settings, how PacketSettings) ([]PacketFile, error)
