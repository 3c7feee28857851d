package rpc

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"lotwright/layout/feature"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/geopackage"
	"lotwright/server/store"
)

// exportPage is how many designs are read at a time.
const exportPage = 20

// eachDesign passes on the features of every lot of a revision.
func (b batches) eachDesign(ctx context.Context, o store.Operation, emit func(lot string, features [][]byte) error) error {
	for after := 0; ; {
		list, err := b.store.Designs(ctx, tenant(ctx), o.Batch, o.Revision, after, exportPage)
		if err != nil || len(list) == 0 {
			return err
		}
		for _, d := range list {
			features, err := StoredFeatures(d)
			if err != nil {
				return err
			}
			if err := emit(d.Lot, features); err != nil {
				return err
			}
			after = d.Number
		}
	}
}

// StoredFeatures are the features of a design as they were first written.
func StoredFeatures(d store.Design) ([][]byte, error) {
	m := &pb.Design{}
	if err := proto.Unmarshal(d.Content, m); err != nil {
		return nil, fmt.Errorf("design of lot %q: %w", d.Lot, err)
	}
	out, err := feature.Split([]byte(m.Geojson))
	if err != nil {
		return nil, fmt.Errorf("design of lot %q: %w", d.Lot, err)
	}
	return out, nil
}

// ExportDesigns sends the features of a revision, a lot a message.
func (b batches) ExportDesigns(req *pb.ExportDesignsRequest, stream grpc.ServerStreamingServer[pb.ExportDesignsResponse]) error {
	batch, err := resource("name", req.GetName(), batchesName)
	if err != nil {
		return err
	}
	o, err := b.ended(stream.Context(), batch, int(req.GetRevision()))
	if err != nil {
		return err
	}
	return b.eachDesign(stream.Context(), o, func(lot string, features [][]byte) error {
		m := &pb.ExportDesignsResponse{Lot: lot}
		for _, f := range features {
			m.Features = append(m.Features, string(f))
		}
		return stream.Send(m)
	})
}

// exportPath is where a revision is given as one file, GeoJSON or a GeoPackage.
const exportPath = "/v1/batches/{batch}:export"

// DatabasePath is where the latest revision of a batch is given as a GeoPackage
// to those who cannot name a media type.
func DatabasePath(batch string) string {
	return strings.Replace(exportPath, "{batch}", url.PathEscape(batch), 1) + "?f=gpkg"
}

// serveExport answers GET on [exportPath]. As with [Server.serveFile], an answer
// that has begun is completed or broken off.
func (b batches) serveExport(w http.ResponseWriter, r *http.Request, params map[string]string) {
	out := &begun{ResponseWriter: w}
	err := b.guard(exportPath, func() error { return b.exportFile(out, r, params["batch"]) })
	switch {
	case err == nil:
	case out.begun:
		panic(http.ErrAbortHandler)
	default:
		writeError(w, err)
	}
}

func (b batches) exportFile(w http.ResponseWriter, r *http.Request, batch string) error {
	revision, database, err := exportQuery(r.URL.RawQuery)
	if err != nil {
		return err
	}
	database = database || asksForDatabase(r.Header)
	form, err := negotiate(r.Header)
	if err != nil && !database {
		return err
	}
	o, err := b.ended(r.Context(), batch, revision)
	if err != nil {
		return err
	}
	// A revision never changes, nor do the bytes that are made of it; another
	// version of the program may write them differently.
	w.Header().Set("Vary", "Accept")
	if database {
		w.Header().Set("Content-Type", databaseType)
		w.Header().Set("ETag", entityTag(o, databaseType))
		return b.exportDatabase(w, r, o)
	}
	w.Header().Set("Content-Type", form.mediaType)
	w.Header().Set("ETag", entityTag(o, form.mediaType))
	w.Header().Set("Accept-Ranges", "bytes")
	if r.Header.Get("Range") != "" || r.Header.Get("If-None-Match") != "" {
		return b.exportPart(w, r, o, form)
	}
	return b.exportText(r.Context(), w, o, form)
}

// entityTag names the bytes of an export (RFC 9110 section 8.8.3).
func entityTag(o store.Operation, mediaType string) string {
	sum := sha256.Sum256([]byte(o.ID + "\x00" + mediaType + "\x00" + programVersion()))
	return `"` + hex.EncodeToString(sum[:12]) + `"`
}

// programVersion tells builds of the program apart.
var programVersion = sync.OnceValue(func() string {
	info, _ := debug.ReadBuildInfo()
	return fmt.Sprint(info)
})

func (b batches) exportText(ctx context.Context, w io.Writer, o store.Operation, form answer) error {
	writer := feature.NewWriter(w, form.format)
	if err := b.eachDesign(ctx, o, func(_ string, features [][]byte) error { return writer.WriteFeatures(features) }); err != nil {
		return err
	}
	return writer.Close()
}

// exportPart makes the whole in a file, to send a part of it; of what the client
// has already, nothing is made.
func (b batches) exportPart(w http.ResponseWriter, r *http.Request, o store.Operation, form answer) error {
	if r.Header.Get("If-None-Match") == w.Header().Get("ETag") {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	file, err := os.CreateTemp("", "lotwright-*")
	if err != nil {
		return err
	}
	defer func() { _ = errors.Join(file.Close(), os.Remove(file.Name())) }()
	out := bufio.NewWriter(file)
	if err := errors.Join(b.exportText(r.Context(), out, o, form), out.Flush()); err != nil {
		return err
	}
	http.ServeContent(w, r, "", time.Time{}, file)
	return nil
}

// databaseType is the media type of GeoPackages (OGC 12-128r17, annex H).
const databaseType = "application/geopackage+sqlite3"

// asksForDatabase reports whether a client names the type of GeoPackages; who
// takes anything gets GeoJSON.
func asksForDatabase(h http.Header) bool {
	return slices.ContainsFunc(mediaRanges(strings.Join(h.Values("Accept"), ",")),
		func(r mediaRange) bool { return r.name == databaseType && r.quality > 0 })
}

// exportDatabase makes the GeoPackage in a folder of its own, since it is not
// written from one end to the other, and sends it when it is complete.
func (b batches) exportDatabase(w http.ResponseWriter, r *http.Request, o store.Operation) error {
	folder, err := os.MkdirTemp("", "lotwright-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	path := filepath.Join(folder, "map.gpkg")
	writer, err := geopackage.Create(path, geopackage.Options{})
	if err != nil {
		return err
	}
	if err := b.eachDesign(r.Context(), o, func(_ string, features [][]byte) error { return writer.Write(features) }); err != nil {
		return errors.Join(err, writer.Abort())
	}
	if err := writer.Close(); err != nil {
		return err
	}
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	http.ServeContent(w, r, "", time.Time{}, file)
	return nil
}

// queryRevision reads a revision, where that is the one parameter.
func queryRevision(rawQuery string) (int, error) {
	revision, database, err := exportQuery(rawQuery)
	if err == nil && database {
		err = invalidFields([]violation{{"query", "want revision once or nothing"}})
	}
	return revision, err
}

// exportQuery reads the parameters of an export: a revision, and f=gpkg for those
// who follow a link and cannot name a media type.
func exportQuery(rawQuery string) (revision int, database bool, err error) {
	values, err := url.ParseQuery(rawQuery)
	known := 0
	for _, name := range []string{"revision", "f"} {
		known += min(len(values[name]), 1)
	}
	if err != nil || len(values) != known || len(values["revision"]) > 1 || len(values["f"]) > 1 {
		return 0, false, invalidFields([]violation{{"query", "want revision or f, once, or nothing"}})
	}
	if form, given := values["f"]; given && form[0] != "gpkg" {
		return 0, false, invalidFields([]violation{{"f", "got " + quoted(form[0]) + ", want gpkg"}})
	}
	text := values.Get("revision")
	if text == "" {
		return 0, values.Has("f"), nil
	}
	n, err := strconv.ParseUint(text, 10, 31)
	if err != nil {
		return 0, false, invalidFields([]violation{{"revision", notA(text, "number").Error()}})
	}
	return int(n), values.Has("f"), nil
}
