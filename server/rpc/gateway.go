package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "lotwright/proto/lotwright/v1"
)

// healthPath answers GET with the state of the service.
const healthPath = "/healthz"

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
		runtime.WithHealthEndpointAt(grpc_health_v1.NewHealthClient(conn), healthPath),
	)
	if err := mux.HandlePath(http.MethodPost, filePath, s.serveFile); err != nil {
		return nil, err
	}
	return mux, pb.RegisterDesignerHandler(ctx, mux, conn)
}

// typed checks the requests of the methods that come from the protos: JSON,
// within its limit, and no query, whose parameters would be ignored.
func (s *Server) typed(next runtime.HandlerFunc) runtime.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request, params map[string]string) {
		if r.Method == http.MethodPost && r.URL.Path != filePath {
			if err := s.checkTyped(w, r); err != nil {
				st, _ := toStatus(err)
				writeError(w, st.Err())
				return
			}
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
		allowed := http.MethodPost
		if r.URL.Path == healthPath {
			allowed = http.MethodGet
		}
		w.Header().Set("Allow", allowed)
		plainProblem(httpStatus, "METHOD_NOT_ALLOWED", "want "+allowed).write(w)
	default:
		plainProblem(httpStatus, codeOf(codes.InvalidArgument), "the request does not follow HTTP").write(w)
	}
}

// writeError answers with the problem document of a status error.
func writeError(w http.ResponseWriter, err error) { problemOf(status.Convert(err)).write(w) }
