package rpc

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/proto"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// What is kept of a lot, of settings and of a design are the messages Lot,
// Settings and Design.

// Admit waits for a worker, of those that the calls of clients have, too. It must
// be given back.
func (s *Server) Admit(ctx context.Context) (giveBack func(), err error) {
	return s.workers.give, s.workers.take(ctx)
}

// DesignStored designs a lot that was imported, compares it, or takes back its
// edited design.
func (s *Server) DesignStored(ctx context.Context, lot store.Lot, settings []byte) (store.Design, error) {
	if len(settings) > 0 && settings[0] == recheckMark {
		return s.recheckStored(ctx, lot, settings[1:])
	}
	item, err := s.storedItem(ctx, lot)
	if err != nil {
		return store.Design{}, err
	}
	if len(settings) > 0 && settings[0] == comparisonMark {
		return s.compareStored(ctx, item, lot.ID, settings[1:])
	}
	steer := &pb.Settings{}
	if err := proto.Unmarshal(settings, steer); err != nil {
		return store.Design{}, err
	}
	var c checker
	checked := s.settings(&c, "settings", steer)
	if err := c.err(); err != nil {
		return store.Design{}, err
	}
	d := s.design(ctx, item, checked)
	if err := ctx.Err(); err != nil {
		return store.Design{}, err
	}
	return s.kept(d), nil
}

// FailedStored is the design of a lot that the program is to blame for.
func (s *Server) FailedStored(lot store.Lot, reason string) store.Design {
	return s.kept(failed(lot.ID, errors.New(reason)))
}

func (s *Server) kept(d *layout.Design) store.Design {
	return encoded(s, d, func(d *layout.Design) store.Design {
		m := designMessage(d)
		return store.Design{Status: store.Status(d.Status), Reason: m.Reason, Content: deterministic(m)}
	})
}

// ParcelStored is the outline of a lot that was imported: polygons, their rings,
// their positions. Nothing where it has none that can be read.
func ParcelStored(content []byte) (polygons [][][][2]float64) {
	if len(content) > 0 && content[0] == fileMark {
		return parcelOfText(content[1:])
	}
	m := &pb.Lot{}
	if proto.Unmarshal(content, m) != nil {
		return nil
	}
	for _, f := range m.GetFeatures() {
		if f.GetLayer() != pb.Feature_PARCEL {
			continue
		}
		var c checker
		kind, parts := c.geometry("geometry", f.GetGeometry())
		if c.err() == nil && (kind == "Polygon" || kind == "MultiPolygon") {
			polygons = append(polygons, parts...)
		}
	}
	return polygons
}

// parcelOfText is ParcelStored of a lot that came in a file.
func parcelOfText(text []byte) (polygons [][][][2]float64) {
	var fc struct {
		Features []struct {
			Properties struct{ Layer string }
			Geometry   struct {
				Type        string
				Coordinates json.RawMessage
			}
		}
	}
	if json.Unmarshal(text, &fc) != nil {
		return nil
	}
	for _, f := range fc.Features {
		var one [][][2]float64
		var many [][][][2]float64
		switch {
		case f.Properties.Layer != string(layout.LayerParcel):
		case f.Geometry.Type == "Polygon" && json.Unmarshal(f.Geometry.Coordinates, &one) == nil:
			polygons = append(polygons, one)
		case f.Geometry.Type == "MultiPolygon" && json.Unmarshal(f.Geometry.Coordinates, &many) == nil:
			polygons = append(polygons, many...)
		}
	}
	return polygons
}

// GeoJSONStored is a design that was kept, as a feature collection.
func GeoJSONStored(content []byte) []byte {
	m := &pb.Design{}
	if proto.Unmarshal(content, m) != nil {
		return nil
	}
	return []byte(m.GetGeojson())
}

// ended is the operation that made a revision, which must have ended; without a
// revision, the latest that has.
func (b batches) ended(ctx context.Context, batch string, revision int) (store.Operation, error) {
	found, err := b.store.Batch(ctx, tenant(ctx), batch)
	if err != nil {
		return store.Operation{}, err
	}
	asked := revision
	if revision == 0 {
		revision = found.Revision
	}
	o, err := b.store.OperationOf(ctx, tenant(ctx), batch, revision)
	if err == nil && asked == 0 && o.State == store.Running {
		o, err = b.store.OperationOf(ctx, tenant(ctx), batch, revision-1) // one runs at a time
	}
	switch {
	case asked == 0 && errors.Is(err, store.ErrNotFound):
		return o, fmt.Errorf("batch %q has no run that has ended: %w", batch, store.ErrState)
	case err == nil && o.State == store.Running:
		return o, fmt.Errorf("revision %d of batch %q is being made: %w", revision, batch, store.ErrState)
	}
	return o, err
}

// pageContent is how many bytes of designs make a page full: what gRPC clients
// take at once is 4 MiB.
const pageContent = 2 << 20

// ListDesigns lists the designs of a revision.
func (b batches) ListDesigns(ctx context.Context, req *pb.ListDesignsRequest) (*pb.ListDesignsResponse, error) {
	var c checker
	p := page{List: "designs", Parent: req.GetParent(), Revision: int(req.GetRevision())}
	size := c.page(&p, req.GetPageSize(), usualDesigns, req.GetPageToken())
	after := c.number("page_token", p.After)
	if err := c.err(); err != nil {
		return nil, err
	}
	batch, err := resource("parent", req.GetParent(), batchesName)
	if err != nil {
		return nil, err
	}
	o, err := b.ended(ctx, batch, p.Revision)
	if err != nil {
		return nil, err
	}
	p.Revision = o.Revision
	list, err := b.readPage(ctx, o, after, size+1)
	if err != nil {
		return nil, err
	}
	return designsPage(list, size, p)
}

// readPage reads n designs, or fewer that are more than a page takes.
func (b batches) readPage(ctx context.Context, o store.Operation, after, n int) (list []store.Design, err error) {
	for room := pageContent; len(list) < n && room >= 0; {
		part, err := b.store.Designs(ctx, tenant(ctx), o.Batch, o.Revision, after, min(exportPage, n-len(list)))
		if err != nil || len(part) == 0 {
			return list, err
		}
		for _, d := range part {
			room -= len(d.Content)
			after = d.Number
		}
		list = append(list, part...)
	}
	return list, nil
}

// designsPage puts designs into a page until it is full.
func designsPage(list []store.Design, size int, p page) (*pb.ListDesignsResponse, error) {
	resp, room := &pb.ListDesignsResponse{Revision: int32(p.Revision)}, pageContent
	for i, d := range list {
		if i == size || i > 0 && room < len(d.Content) {
			resp.NextPageToken = p.from(strconv.Itoa(list[i-1].Number))
			break
		}
		room -= len(d.Content)
		m := &pb.Design{}
		if err := proto.Unmarshal(d.Content, m); err != nil {
			return nil, fmt.Errorf("design of lot %q: %w", d.Lot, err)
		}
		resp.Designs = append(resp.Designs, m)
	}
	return resp, nil
}
