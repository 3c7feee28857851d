package rpc

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// What is kept of a head table and of a profile are the messages HeadTable and
// Profile, without name and time.

// Collections of presets.
const (
	headTablesName = "headTables"
	profilesName   = "profiles"
)

// presets is the gRPC service of head tables and profiles.
type presets struct {
	pb.UnsafePresetsServer // a method that is not written here must not compile
	*Server
	store store.Store
}

func (s *Server) presets() presets { return presets{Server: s, store: s.options.Store} }

// CreateHeadTable keeps a head table.
func (p presets) CreateHeadTable(ctx context.Context, req *pb.CreateHeadTableRequest) (*pb.HeadTable, error) {
	var c checker
	m := req.GetHeadTable()
	c.title("head_table.title", m.GetTitle())
	if m.GetHeadModel() == nil {
		c.add("head_table.head_model", "got nothing, want a head and its table")
	}
	c.headModel("head_table.head_model", m.GetHeadModel())
	id := c.newID("head_table_id", req.GetHeadTableId(), "t")
	r := c.request("request_id", req.GetRequestId(), req)
	if err := c.err(); err != nil {
		return nil, err
	}
	kept, err := p.store.CreateRecord(ctx, tenant(ctx), store.HeadTable, id, deterministic(&pb.HeadTable{Title: m.GetTitle(), HeadModel: m.GetHeadModel()}), r)
	if err != nil {
		return nil, err
	}
	return headTableMessage(kept)
}

// newID is the id that a client made up, or one that nobody has.
func (c *checker) newID(field, id, kind string) string {
	if id == "" {
		id = madeUp(kind)
	}
	c.resourceID(field, id)
	return id
}

func headTableMessage(r store.Record) (*pb.HeadTable, error) {
	m := &pb.HeadTable{}
	if err := proto.Unmarshal(r.Content, m); err != nil {
		return nil, fmt.Errorf("head table %q: %w", r.ID, err)
	}
	m.Name, m.CreateTime = headTablesName+"/"+r.ID, timestamppb.New(r.Created)
	return m, nil
}

// GetHeadTable reads a head table.
func (p presets) GetHeadTable(ctx context.Context, req *pb.GetHeadTableRequest) (*pb.HeadTable, error) {
	r, err := p.record(ctx, store.HeadTable, "name", req.GetName(), headTablesName)
	if err != nil {
		return nil, err
	}
	return headTableMessage(r)
}

func (s *Server) record(ctx context.Context, k store.Kind, field, name, collection string) (store.Record, error) {
	id, err := resource(field, name, collection)
	if err != nil {
		return store.Record{}, err
	}
	return s.options.Store.Record(ctx, tenant(ctx), k, id)
}

// ListHeadTables lists head tables by name.
func (p presets) ListHeadTables(ctx context.Context, req *pb.ListHeadTablesRequest) (resp *pb.ListHeadTablesResponse, err error) {
	resp = &pb.ListHeadTablesResponse{}
	resp.HeadTables, resp.NextPageToken, err = listed(ctx, p, store.HeadTable, req, headTableMessage)
	return resp, err
}

// listed is a page of records.
func listed[M any](ctx context.Context, p presets, k store.Kind, req interface {
	GetPageSize() int32
	GetPageToken() string
}, message func(store.Record) (M, error)) (out []M, next string, err error) {
	var c checker
	at := page{List: string(k)}
	size := c.page(&at, req.GetPageSize(), usualPage, req.GetPageToken())
	if err := c.err(); err != nil {
		return nil, "", err
	}
	list, err := p.store.Records(ctx, tenant(ctx), k, at.After, size+1)
	if err != nil {
		return nil, "", err
	}
	for _, r := range list[:min(size, len(list))] {
		m, err := message(r)
		if err != nil {
			return nil, "", err
		}
		out = append(out, m)
	}
	if len(list) > size {
		next = at.from(list[size-1].ID)
	}
	return out, next, nil
}

// DeleteHeadTable deletes a head table.
func (p presets) DeleteHeadTable(ctx context.Context, req *pb.DeleteHeadTableRequest) (*emptypb.Empty, error) {
	return p.deleteRecord(ctx, store.HeadTable, req.GetName(), headTablesName)
}

func (p presets) deleteRecord(ctx context.Context, k store.Kind, name, collection string) (*emptypb.Empty, error) {
	id, err := resource("name", name, collection)
	if err != nil {
		return nil, err
	}
	return &emptypb.Empty{}, p.store.DeleteRecord(ctx, tenant(ctx), k, id)
}

// CreateProfile keeps settings.
func (p presets) CreateProfile(ctx context.Context, req *pb.CreateProfileRequest) (*pb.Profile, error) {
	var c checker
	m := req.GetProfile()
	c.title("profile.title", m.GetTitle())
	if m.GetSettings() == nil {
		c.add("profile.settings", "got nothing, want settings")
	}
	if _, err := p.steered(ctx, &c, "profile.settings", "", m.GetSettings()); err != nil {
		return nil, err
	}
	id := c.newID("profile_id", req.GetProfileId(), "p")
	r := c.request("request_id", req.GetRequestId(), req)
	if err := c.err(); err != nil {
		return nil, err
	}
	kept, err := p.store.CreateRecord(ctx, tenant(ctx), store.Profile, id, deterministic(&pb.Profile{Title: m.GetTitle(), Settings: m.GetSettings()}), r)
	if err != nil {
		return nil, err
	}
	return profileMessage(kept)
}

func profileMessage(r store.Record) (*pb.Profile, error) {
	m := &pb.Profile{}
	if err := proto.Unmarshal(r.Content, m); err != nil {
		return nil, fmt.Errorf("profile %q: %w", r.ID, err)
	}
	m.Name, m.CreateTime = profilesName+"/"+r.ID, timestamppb.New(r.Created)
	return m, nil
}

// GetProfile reads a profile.
func (p presets) GetProfile(ctx context.Context, req *pb.GetProfileRequest) (*pb.Profile, error) {
	r, err := p.record(ctx, store.Profile, "name", req.GetName(), profilesName)
	if err != nil {
		return nil, err
	}
	return profileMessage(r)
}

// ListProfiles lists profiles by name.
func (p presets) ListProfiles(ctx context.Context, req *pb.ListProfilesRequest) (resp *pb.ListProfilesResponse, err error) {
	resp = &pb.ListProfilesResponse{}
	resp.Profiles, resp.NextPageToken, err = listed(ctx, p, store.Profile, req, profileMessage)
	return resp, err
}

// DeleteProfile deletes a profile.
func (p presets) DeleteProfile(ctx context.Context, req *pb.DeleteProfileRequest) (*emptypb.Empty, error) {
	return p.deleteRecord(ctx, store.Profile, req.GetName(), profilesName)
}

// steered puts a profile below the settings of a request and the table of a head
// in the place of its name, and checks what comes of it. What is wrong is
// gathered; what is not there is an error.
func (s *Server) steered(ctx context.Context, c *checker, path, profile string, m *pb.Settings) (*pb.Settings, error) {
	if profile != "" {
		r, err := s.record(ctx, store.Profile, "profile", profile, profilesName)
		if err != nil {
			return nil, absent(err)
		}
		base, err := profileMessage(r)
		if err != nil {
			return nil, err
		}
		m = over(base.Settings, m)
	}
	if name := m.GetHeadTable(); name != "" {
		r, err := s.record(ctx, store.HeadTable, path+".head_table", name, headTablesName)
		if err != nil {
			return nil, absent(err)
		}
		table, err := headTableMessage(r)
		if err != nil {
			return nil, err
		}
		if m.HeadModel != nil {
			c.add(path+".head_table", "given beside head_model, want one of the two")
		}
		m = proto.CloneOf(m)
		m.HeadTable, m.HeadModel = "", table.HeadModel
	}
	s.settings(c, path, m)
	return m, nil
}

// absent keeps its error from being read as if what the method is about were not
// there.
func absent(err error) error {
	if errors.Is(err, store.ErrNotFound) {
		f := storeFault(err)
		return faultf(f.code, f.reason, "%v, which the settings name", err)
	}
	return err
}

// over puts every field that is set in m into a copy of base. A head by table and
// one by name displace each other.
func over(base, m *pb.Settings) *pb.Settings {
	out := proto.CloneOf(base)
	if m.GetHeadModel() != nil {
		out.HeadTable = ""
	}
	if m.GetHeadTable() != "" {
		out.HeadModel = nil
	}
	to := out.ProtoReflect()
	m.ProtoReflect().Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		to.Set(f, v)
		return true
	})
	return out
}
