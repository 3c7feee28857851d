package rpc

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// A recheck of a batch is an operation whose settings are its request, with
// [recheckMark] in front, the revision and the settings filled in, and the
// designs lot by lot.

// recheckMark tells the settings of a recheck from the message Settings, of which
// no encoding begins with a field 0.
const recheckMark = 1

// RecheckBatch takes back designs that were edited on a map.
func (b batches) RecheckBatch(ctx context.Context, req *pb.RecheckBatchRequest) (*longrunningpb.Operation, error) {
	batch, err := resource("name", req.GetName(), batchesName)
	if err != nil {
		return nil, err
	}
	base, err := b.complete(ctx, batch, int(req.GetRevision()))
	if err != nil {
		return nil, err
	}
	kept := &pb.RecheckBatchRequest{Name: req.GetName(), Revision: int32(base.Revision), Settings: req.GetSettings()}
	if kept.Settings == nil {
		if kept.Settings, err = settingsOf(base); err != nil {
			return nil, err
		}
	}
	var c checker
	b.settings(&c, "settings", kept.Settings)
	kept.Designs = c.edited(req)
	if err := b.named(ctx, &c, base, kept.Designs); err != nil {
		return nil, err
	}
	r := c.request("request_id", req.GetRequestId(), req)
	if err := c.err(); err != nil {
		return nil, err
	}
	o, err := b.store.StartOperation(ctx, tenant(ctx), batch, madeUp("o"), append([]byte{recheckMark}, deterministic(kept)...), r)
	if err != nil {
		return nil, err
	}
	return operationMessage(o), nil
}

// complete is the operation that made a revision in which every lot of the batch
// has a design.
func (b batches) complete(ctx context.Context, batch string, revision int) (store.Operation, error) {
	o, err := b.ended(ctx, batch, revision)
	if err != nil {
		return o, err
	}
	found, err := b.store.Batch(ctx, tenant(ctx), batch)
	switch {
	case err != nil:
		return o, err
	case o.State != store.Done:
		return o, fmt.Errorf("revision %d of batch %q was not completed: %w", o.Revision, batch, store.ErrState)
	case o.Lots != found.Lots:
		return o, fmt.Errorf("revision %d of batch %q has %d of its %d lots; design the batch first: %w", o.Revision, batch, o.Lots, found.Lots, store.ErrState)
	}
	return o, nil
}

// settingsOf are those that an operation was steered by.
func settingsOf(o store.Operation) (*pb.Settings, error) {
	if len(o.Settings) > 0 && o.Settings[0] == recheckMark {
		req := &pb.RecheckBatchRequest{}
		err := proto.Unmarshal(o.Settings[1:], req)
		return req.GetSettings(), err
	}
	m := &pb.Settings{}
	return m, proto.Unmarshal(o.Settings, m)
}

// edited are the designs of a request by lot.
func (c *checker) edited(req *pb.RecheckBatchRequest) map[string]string {
	designs := map[string]string{}
	if req.GetGeojson() != "" {
		c.takeApart("geojson", req.GetGeojson(), designs)
	}
	for _, id := range slices.Sorted(maps.Keys(req.GetDesigns())) {
		if _, twice := designs[id]; twice {
			c.add("designs", "lot %s stands in geojson, too", quoted(id))
		}
		designs[id] = req.GetDesigns()[id]
	}
	if len(designs) == 0 && len(c.violations) == 0 {
		c.add("geojson", "got nothing, want the designs that were edited, here or in designs")
	}
	return designs
}

// takeApart makes a collection a lot of a map.
func (c *checker) takeApart(path, text string, to map[string]string) {
	features, err := featuresOf([]byte(text))
	if err != nil {
		c.add(path, "it is not a GeoJSON FeatureCollection: %v", err)
		return
	}
	byLot := map[string][][]byte{}
	for i, f := range features {
		var of struct{ Properties struct{ Lot string } }
		if err := json.Unmarshal(f, &of); err != nil || of.Properties.Lot == "" {
			c.add(fmt.Sprintf("%s.features[%d]", path, i), "it has no property lot, the id of its lot as text")
			return
		}
		byLot[of.Properties.Lot] = append(byLot[of.Properties.Lot], f)
	}
	for id, list := range byLot {
		to[id] = collection(list)
	}
}

func featuresOf(text []byte) (features [][]byte, err error) {
	var fc struct{ Features []json.RawMessage }
	err = json.Unmarshal(text, &fc)
	for _, f := range fc.Features {
		features = append(features, f)
	}
	return features, err
}

// idsPage is how many lots are asked for at a time.
const idsPage = 1000

// named checks that the lots are some of an operation's.
func (b batches) named(ctx context.Context, c *checker, o store.Operation, designs map[string]string) error {
	unknown := maps.Clone(designs)
	for after := 0; len(unknown) > 0; {
		list, err := b.store.Finished(ctx, tenant(ctx), o.ID, after, idsPage)
		if err != nil {
			return err
		}
		if len(list) == 0 {
			break
		}
		for _, d := range list {
			delete(unknown, d.Lot)
			after = d.Place
		}
	}
	for _, id := range slices.Sorted(maps.Keys(unknown)) {
		c.add("designs", "the batch has no lot %s", quoted(id))
	}
	return nil
}

// recheckStored takes back the design of a lot if it was edited.
func (s *Server) recheckStored(ctx context.Context, lot store.Lot, asked []byte) (store.Design, error) {
	req := &pb.RecheckBatchRequest{}
	if err := proto.Unmarshal(asked, req); err != nil {
		return store.Design{}, err
	}
	edited, named := req.GetDesigns()[lot.ID]
	if !named {
		return store.Design{From: int(req.GetRevision())}, nil
	}
	var c checker
	settings := s.settings(&c, "settings", req.GetSettings())
	if err := c.err(); err != nil {
		return store.Design{}, err
	}
	item, err := s.storedEdited(ctx, lot, edited)
	if err != nil {
		return store.Design{}, err
	}
	d := s.recheck(ctx, item, settings)
	if err := ctx.Err(); err != nil {
		return store.Design{}, err
	}
	return s.kept(d), nil
}

// storedEdited is a lot that was imported, with an edited design of it.
func (s *Server) storedEdited(ctx context.Context, lot store.Lot, edited string) (Item, error) {
	if len(lot.Content) > 0 && lot.Content[0] == fileMark {
		both, err := featuresOf(lot.Content[1:])
		if err != nil {
			return Item{}, err
		}
		drawn, err := featuresOf([]byte(edited))
		if err != nil {
			return Item{Refused: refused(lot.ID, []violation{{"designs", "it is not a GeoJSON FeatureCollection"}})}, nil
		}
		return s.storedText(ctx, lot, []byte(collection(append(both, drawn...))), s.options.OpenEdited)
	}
	m := &pb.Lot{}
	if err := proto.Unmarshal(lot.Content, m); err != nil {
		return Item{}, err
	}
	var c checker
	received := c.lot("lot", m)
	if len(c.violations) > 0 {
		return Item{Refused: refused(received.id, c.violations)}, nil
	}
	return s.assembleEdited(received, edited), nil
}
