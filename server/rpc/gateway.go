package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "lotwright/proto/lotwright/v1"
	"lotwright/server/store"
)

// Paths that answer GET with the state of the service: that it runs, and that it
// can do its work; and with what it has done.
const (
	healthPath  = "/healthz"
	readyPath   = "/readyz"
	metricsPath = "/metrics"
)

// gateway translates JSON calls and passes them to the gRPC server over conn.
func (s *Server) gateway(ctx context.Context, conn *grpc.ClientConn) (http.Handler, error) {
	none := func(string) (string, bool) { return "", false }
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, strictJSON()),
		runtime.WithErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
			if b, ok := r.Body.(*body); ok && b.fault != nil {
				err = b.fault.status().Err()
			}
			writeError(w, err)
		}),
		runtime.WithRoutingErrorHandler(routingError),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithIncomingHeaderMatcher(none),
		runtime.WithOutgoingHeaderMatcher(none),
		runtime.WithMiddlewares(s.typed),
		runtime.WithForwardResponseOption(accepted),
		runtime.SetQueryParameterParser(strictQuery{}),
		runtime.WithHealthEndpointAt(grpc_health_v1.NewHealthClient(conn), healthPath),
	)
	if err := pb.RegisterDesignerHandler(ctx, mux, conn); err != nil {
		return nil, err
	}
	if s.options.Store != nil {
		if err := errors.Join(pb.RegisterBatchServiceHandler(ctx, mux, conn), pb.RegisterPresetsHandler(ctx, mux, conn)); err != nil {
			return nil, err
		}
	}
	for _, route := range s.routes() { // the last that fits is taken
		if err := mux.HandlePath(route.method, route.path, route.serve); err != nil {
			return nil, err
		}
	}
	return mux, nil
}

// route is a path that no proto describes.
type route struct {
	method, path string
	serve        runtime.HandlerFunc
}

func (s *Server) routes() []route {
	list := []route{
		{http.MethodGet, openAPIPath, serveOpenAPI}, {http.MethodPost, filePath, s.serveFile}, {http.MethodPost, recheckPath, s.serveRecheck}, {http.MethodGet, readyPath, s.serveReady},
	}
	if s.options.Callers == nil { // figures are about all tenants: see ServeMetrics
		list = append(list, route{http.MethodGet, metricsPath, s.metrics.serve})
	}
	if s.options.Packet != nil {
		list = append(list, route{http.MethodPost, packetPath, s.servePacket})
	}
	if s.options.Tables != nil && s.options.Read != nil {
		list = append(list, route{http.MethodPost, tablesPath, s.serveTables}, route{http.MethodPost, readPath, s.serveRead})
	}
	if s.options.Store != nil {
		list = append(list, route{http.MethodGet, exportPath, s.batches().serveExport})
		if s.options.Read != nil {
			list = append(list, route{http.MethodPost, importPath, s.batches().serveImport})
		}
	}
	return list
}

// openAPIPath answers GET with the description of the methods.
const openAPIPath = "/openapi.json"

func serveOpenAPI(w http.ResponseWriter, _ *http.Request, _ map[string]string) {
	w.Header().Set("Content-Type", jsonType)
	_, _ = w.Write(pb.OpenAPI) // a client that is gone needs no answer
}

// serveReady answers GET on [readyPath]: whether calls would be answered now.
func (s *Server) serveReady(w http.ResponseWriter, r *http.Request, _ map[string]string) {
	if err := s.ready(r.Context()); err != nil {
		writeError(w, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (s *Server) ready(ctx context.Context) error {
	select {
	case <-s.stopping:
		return faultf(codes.Unavailable, reasonStopping, "the server is stopping").status().Err()
	default:
	}
	if s.options.Store == nil {
		return nil
	}
	if err := s.options.Store.Check(ctx); err != nil {
		s.options.Log.Error("not ready", "error", err.Error())
		if errors.Is(err, store.ErrFull) {
			return storeFault(err).status().Err()
		}
		return faultf(codes.Unavailable, reasonNotReady, "the store cannot be used; the server's log has the details").status().Err()
	}
	return nil
}

// typed checks the requests of the methods that come from the protos: JSON,
// within its limit, and no query, whose parameters would be ignored.
func (s *Server) typed(next runtime.HandlerFunc) runtime.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request, params map[string]string) {
		if r.Method == http.MethodPost && !slices.Contains(untyped(), r.URL.Path) && !strings.HasSuffix(r.URL.Path, "/lots:import") {
			if err := s.checkTyped(w, r); err != nil {
				st, _ := toStatus(err)
				writeError(w, st.Err())
				return
			}
		}
		if name, ok := watched(r.URL.Path); ok && s.options.Store != nil && r.Method == http.MethodGet && asksForEvents(r.Header) {
			s.batches().serveEvents(w, r, name)
			return
		}
		next(w, r, params)
	}
}

func (s *Server) checkTyped(w http.ResponseWriter, r *http.Request) error {
	if r.URL.RawQuery != "" {
		return invalidFields([]violation{{"query", "this method takes no query parameters; they belong in the body"}})
	}
	if err := checkContentType(r.Header, jsonType); err != nil {
		return err
	}
	l := s.options.Limits
	_, err := openBody(w, r, bodyLimits{l.JSON, l.JSON, "JSON", "JSON"}, l.ReadIdle)
	return err
}

// accepted tells, by HTTP's own means, of work that goes on and where to ask
// about it.
func accepted(ctx context.Context, w http.ResponseWriter, m proto.Message) error {
	named(ctx, m)
	o, ok := m.(*longrunningpb.Operation)
	if !ok || o.GetDone() {
		return nil
	}
	w.Header().Set("Retry-After", strconv.Itoa(int(retryAfter.Seconds())))
	switch method, _ := runtime.RPCMethod(ctx); method {
	case pb.BatchService_DesignBatch_FullMethodName, pb.BatchService_RecheckBatch_FullMethodName, pb.BatchService_CompareBatch_FullMethodName:
		w.Header().Set("Location", "/v1/"+o.GetName())
		w.WriteHeader(http.StatusAccepted)
	}
	return nil
}

// strictQuery reads the parameters of a query into the fields of a message.
// Unknown and repeated ones, which are usually passed over, are refused.
type strictQuery struct{ runtime.DefaultQueryParser }

// Parse reads the parameters.
func (q strictQuery) Parse(m proto.Message, values url.Values, inPath *utilities.DoubleArray) error {
	var c checker
	var names []string
	for name := range values {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		switch f := m.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(name)); {
		case f == nil || inPath.HasCommonPrefix([]string{name}):
			c.add(name, "no such parameter")
		case len(values[name]) > 1:
			c.add(name, "given %d times", len(values[name]))
		}
	}
	if err := c.err(); err != nil {
		return err // of which the gateway takes the text
	}
	return q.DefaultQueryParser.Parse(m, values, inPath)
}

// strict reads JSON as one value with nothing unknown, doubled or left over,
// and writes every field under the name it has in the protos.
type strict struct{ runtime.JSONPb }

func strictJSON() runtime.Marshaler {
	return &strict{runtime.JSONPb{
		MarshalOptions: protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true},
	}}
}

// NewDecoder reads to the end before it decodes: the usual decoder stops after
// the first value and takes an empty body for an empty message.
func (*strict) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(v any) error {
		text, err := io.ReadAll(r)
		if err != nil {
			return err
		}
		message, ok := v.(proto.Message)
		if !ok {
			return fmt.Errorf("bug in strict.NewDecoder: %T is not a message", v)
		}
		if len(text) == 0 {
			return errors.New("the body is empty")
		}
		return protojson.Unmarshal(text, message)
	})
}

// routingError answers for paths and methods that lead nowhere.
func routingError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, httpStatus int) {
	switch httpStatus {
	case http.StatusNotFound:
		plainProblem(httpStatus, codeOf(codes.NotFound), "nothing is served at this path").write(w)
	case http.StatusMethodNotAllowed:
		allowed := allowedAt(r.URL.Path)
		w.Header().Set("Allow", allowed)
		plainProblem(httpStatus, "METHOD_NOT_ALLOWED", "want "+allowed).write(w)
	default:
		plainProblem(httpStatus, codeOf(codes.InvalidArgument), "the request does not follow HTTP").write(w)
	}
}

// allowedAt are the methods of a path that is served.
func allowedAt(path string) string {
	path, verb, _ := strings.Cut(path, ":")
	switch {
	case path == healthPath, path == readyPath, path == metricsPath, path == openAPIPath, verb == "watch", verb == "export":
		return http.MethodGet
	case verb != "":
		return http.MethodPost
	}
	for _, collection := range []string{batchesName, headTablesName, profilesName} {
		switch {
		case path == "/v1/"+collection:
			return http.MethodGet + ", " + http.MethodPost
		case strings.HasPrefix(path, "/v1/"+collection+"/") && strings.Count(path, "/") == 3:
			return http.MethodGet + ", " + http.MethodDelete
		}
	}
	return http.MethodGet
}

// writeError answers with the problem document of a status error.
func writeError(w http.ResponseWriter, err error) { problemOf(status.Convert(err)).write(w) }
