package rpc

import (
	"bytes"
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
	"strings"
	"sync"
	"syscall"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// A file is kept in parts until it is whole: one file a tenant, batch and upload,
// in the folder of [Options.Uploads]. What of it is flushed is acknowledged.

const (
	mostChunk  = 256 << 10          // bytes
	keepParts  = 7 * 24 * time.Hour // after their last byte
	partEnding = ".part"            // of the names of parts
	fileMark   = 0                  // begins the content of a lot that came in a file; no message Lot does
)

// uploading is the uploads under way.
type uploading struct {
	mu     sync.Mutex
	folder string // that goes with the service; empty: none
	active map[string]bool
}

// take reports whether nobody else sends the same upload.
func (u *uploading) take(path string) bool {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.active[path] {
		return false
	}
	if u.active == nil {
		u.active = map[string]bool{}
	}
	u.active[path] = true
	return true
}

func (u *uploading) give(path string) {
	u.mu.Lock()
	defer u.mu.Unlock()
	delete(u.active, path)
}

// part is a file on its way in.
type part struct {
	batches
	batch       string
	lotProperty string
	path        string
	file        *os.File
	size        int64 // bytes kept
	at          int64 // of the next byte that comes
}

// UploadFile adds the lots of a file to a batch.
func (b batches) UploadFile(stream grpc.ClientStreamingServer[pb.UploadFileRequest, pb.UploadFileResponse]) error {
	ctx, receive := stream.Context(), receiver(stream)
	first, err := within(ctx, b.options.Limits.StreamIdle, receive)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	p, err := b.part(ctx, first.GetTarget())
	if err != nil {
		return err
	}
	defer p.close()
	resp, err := p.all(ctx, receive)
	if err != nil {
		return err
	}
	return stream.SendAndClose(resp)
}

// part finds what is kept of an upload.
func (b batches) part(ctx context.Context, t *pb.UploadFileRequest_Target) (*part, error) {
	switch {
	case b.options.Read == nil:
		return nil, status.Error(codes.Unimplemented, "files are not read here")
	case t == nil:
		return nil, faultf(codes.InvalidArgument, reasonInvalidStream, "message 0: want a target")
	}
	batch, err := resource("target.parent", t.GetParent(), batchesName)
	if err != nil {
		return nil, err
	}
	if _, err := b.store.Batch(ctx, tenant(ctx), batch); err != nil {
		return nil, err
	}
	var c checker
	if c.token("target.upload_id", t.GetUploadId()); t.GetUploadId() == "" {
		c.add("target.upload_id", "got nothing, want the client's name for this upload")
	}
	if c.word("target.lot_property", t.GetLotProperty()); t.GetFrom() < 0 {
		c.add("target.from", "got %d, want 0 or more", t.GetFrom())
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	p := &part{batches: b, batch: batch, lotProperty: t.GetLotProperty(), at: t.GetFrom()}
	if err := p.open(string(tenant(ctx)) + "\x00" + batch + "\x00" + t.GetUploadId()); err != nil {
		return nil, err
	}
	if p.at > p.size {
		defer p.close()
		return nil, faultf(codes.OutOfRange, reasonImportGap, "byte %d of upload %s, of which %d are kept", p.at, quoted(t.GetUploadId()), p.size)
	}
	return p, nil
}

// folderIn makes the folder for parts where there is none, or one that goes with
// the service.
func (u *uploading) folderIn(folder string) (string, error) {
	if folder != "" {
		return folder, os.MkdirAll(folder, 0o700)
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.folder == "" {
		var err error
		if u.folder, err = os.MkdirTemp("", "lotwright-*"); err != nil {
			return "", err
		}
	}
	return u.folder, nil
}

// end deletes the folder that goes with the service.
func (u *uploading) end() {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.folder != "" {
		_ = os.RemoveAll(u.folder) // the system's affair otherwise
	}
}

func (p *part) open(key string) error {
	folder, err := p.uploading.folderIn(p.options.Uploads)
	if err != nil {
		return full(err)
	}
	name := sha256.Sum256([]byte(key))
	path := filepath.Join(folder, hex.EncodeToString(name[:])+partEnding)
	if !p.uploading.take(path) {
		return fmt.Errorf("another call sends this upload: %w", store.ErrState)
	}
	p.path = path
	dropOldParts(folder, time.Now().Add(-keepParts))
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR|os.O_APPEND, 0o600)
	if err != nil {
		p.close()
		return err
	}
	p.file = file
	info, err := file.Stat()
	if err != nil {
		p.close()
		return err
	}
	p.size = info.Size()
	return nil
}

// dropOldParts deletes what nobody goes on with.
func dropOldParts(folder string, before time.Time) {
	entries, _ := os.ReadDir(folder) // what cannot be read stays
	for _, e := range entries {
		if info, err := e.Info(); err == nil && strings.HasSuffix(e.Name(), partEnding) && info.ModTime().Before(before) {
			_ = os.Remove(filepath.Join(folder, e.Name())) // or somebody else has
		}
	}
}

func (p *part) close() {
	if p.file != nil {
		_ = p.file.Close() // what counts is flushed
	}
	p.uploading.give(p.path)
}

// all takes in what the stream brings.
func (p *part) all(ctx context.Context, receive func(context.Context) (*pb.UploadFileRequest, error)) (*pb.UploadFileResponse, error) {
	for n := 1; ; n++ {
		m, err := within(ctx, p.options.Limits.StreamIdle, receive)
		if errors.Is(err, io.EOF) {
			return &pb.UploadFileResponse{Received: p.size}, p.flushed()
		}
		if err != nil {
			return nil, errors.Join(err, p.flushed())
		}
		switch m := m.GetMessage().(type) {
		case *pb.UploadFileRequest_Chunk:
			err = p.add(m.Chunk)
		case *pb.UploadFileRequest_Sha256:
			return p.whole(ctx, m.Sha256)
		default:
			err = faultf(codes.InvalidArgument, reasonInvalidStream, "message %d: want a chunk or the SHA-256", n)
		}
		if err != nil {
			return nil, err
		}
	}
}

// add writes a chunk, without what is kept already.
func (p *part) add(chunk []byte) error {
	if len(chunk) > mostChunk {
		return overLimit("Chunk", mostChunk, "bytes of a chunk")
	}
	if most := p.options.Limits.Upload; p.at+int64(len(chunk)) > most {
		return overLimit("Upload", most, "bytes of a file")
	}
	known := min(max(p.size-p.at, 0), int64(len(chunk)))
	n, err := p.file.Write(chunk[known:])
	p.size += int64(n)
	p.at += int64(len(chunk))
	return full(err)
}

func (p *part) flushed() error { return full(p.file.Sync()) }

// full tells a full disk from other errors.
func full(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EROFS) || errors.Is(err, syscall.EDQUOT) {
		return fmt.Errorf("%w: %w", store.ErrFull, err)
	}
	return err
}

// whole checks that the file is what was sent and takes its lots in. Then, or
// where it is not, nothing of it is kept.
func (p *part) whole(ctx context.Context, want []byte) (*pb.UploadFileResponse, error) {
	got, err := sumOf(p.path)
	if err != nil {
		return nil, err
	}
	if p.at < p.size {
		return nil, faultf(codes.InvalidArgument, reasonInvalidStream, "the SHA-256 comes after %d bytes, of which %d are kept", p.at, p.size)
	}
	if !bytes.Equal(got, want) {
		return nil, errors.Join(faultf(codes.DataLoss, reasonChecksum, "the SHA-256 of the %d bytes that came is %x; nothing of them is kept, send the file again", p.size, got), os.Remove(p.path))
	}
	resp, err := p.importFile(ctx, p.batch, Chosen{File: File{Name: "upload", Path: p.path}}, p.lotProperty, got)
	if err != nil {
		var refusal *Refusal
		if errors.As(err, &refusal) {
			err = errors.Join(err, os.Remove(p.path)) // it will be refused again
		}
		return nil, err
	}
	resp.Received = p.size
	return resp, os.Remove(p.path)
}

func sumOf(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close() // only read
	h := sha256.New()
	_, err = io.Copy(h, file)
	return h.Sum(nil), err
}

// importFile adds the lots of a file to a batch. Its import goes by what is in
// it, so that it goes on where one of the same file broke off.
func (b batches) importFile(ctx context.Context, batch string, file Chosen, lotProperty string, sum []byte) (*pb.UploadFileResponse, error) {
	lots, err := b.options.Read(ctx, []Chosen{file}, lotProperty)
	if err != nil {
		return nil, err
	}
	defer lots.Close()
	i := &importing{batches: b, batch: batch, piece: store.Piece{Import: "file:" + hex.EncodeToString(sum) + ":" + lotProperty}}
	for k := range lots.Len() {
		features, err := lots.Features(k)
		if err := errors.Join(err, ctx.Err()); err != nil {
			return nil, err
		}
		content := []byte{fileMark}
		content = append(content, `{"type":"FeatureCollection","features":[`...)
		content = append(append(content, bytes.Join(features, []byte(","))...), "]}"...)
		if err := i.take(ctx, store.Lot{ID: lots.ID(k), Content: content}); err != nil {
			return nil, err
		}
	}
	if err := i.flush(ctx); err != nil {
		return nil, err
	}
	resp := &pb.UploadFileResponse{Lots: i.message()}
	for _, f := range lots.Findings() {
		if len(resp.Remarks) == mostRefusals {
			break
		}
		resp.Remarks = append(resp.Remarks, &pb.UploadFileResponse_Remark{Rule: valid(f.Rule), Text: valid(f.Text), Lot: valid(f.Lot)})
	}
	return resp, nil
}

// storedItem is a lot that was kept, however it came.
func (s *Server) storedItem(ctx context.Context, lot store.Lot) (item Item, err error) {
	if len(lot.Content) == 0 || lot.Content[0] != fileMark {
		m := &pb.Lot{}
		if err := proto.Unmarshal(lot.Content, m); err != nil {
			return Item{}, err
		}
		return s.received(m), nil
	}
	return s.storedText(ctx, lot, lot.Content[1:], s.options.Open)
}

// storedText is the one lot of a text that was kept.
func (s *Server) storedText(ctx context.Context, lot store.Lot, text []byte, open func(context.Context, io.Reader) (Source, error)) (Item, error) {
	source, err := open(ctx, bytes.NewReader(text))
	var refusal *Refusal
	switch {
	case errors.As(err, &refusal):
		return Item{Refused: refused(lot.ID, []violation{{refusal.Rule, refusal.Text}})}, nil
	case err != nil:
		return Item{}, err
	}
	defer source.Close()
	if source.Len() != 1 {
		return Item{}, fmt.Errorf("bug in storedText: lot %q was kept as %d lots", lot.ID, source.Len())
	}
	return s.item(source, 0), nil
}

// importPath takes a file of lots as its body.
const importPath = "/v1/batches/{batch}/lots:import"

// serveImport answers POST on [importPath].
func (b batches) serveImport(w http.ResponseWriter, r *http.Request, params map[string]string) {
	b.serveWhole(w, importPath, func(w http.ResponseWriter) error { return b.importBody(w, r, params["batch"]) })
}

func (b batches) importBody(w http.ResponseWriter, r *http.Request, batch string) error {
	if _, err := b.store.Batch(r.Context(), tenant(r.Context()), batch); err != nil {
		return err
	}
	property, err := queryLotProperty(r.URL.RawQuery)
	if err != nil {
		return err
	}
	if err := checkContentType(r.Header, bodyTypes()...); err != nil {
		return err
	}
	l := b.options.Limits
	body, err := openBody(w, r, bodyLimits{l.Upload, l.Upload, "Upload", "Upload"}, l.ReadIdle)
	if err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "lotwright-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	h := sha256.New()
	path := filepath.Join(folder, "body")
	if err := keepFile(path, io.TeeReader(body, h)); err != nil {
		if body.fault != nil {
			return body.fault
		}
		return full(err)
	}
	resp, err := b.importFile(r.Context(), batch, Chosen{File: File{Name: "body", Path: path}}, property, h.Sum(nil))
	if err != nil {
		return err
	}
	if info, err := os.Stat(path); err == nil {
		resp.Received = info.Size()
	}
	text, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(resp)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", jsonType)
	_, err = w.Write(text)
	return err
}

// queryLotProperty reads the one parameter of an import.
func queryLotProperty(rawQuery string) (string, error) {
	values, err := url.ParseQuery(rawQuery)
	property := values.Get("lot_property")
	if err != nil || len(values) > 1 || len(values) == 1 && len(values["lot_property"]) != 1 || len(property) > mostWord {
		return "", invalidFields([]violation{{"query", "want lot_property once or nothing"}})
	}
	return property, nil
}
