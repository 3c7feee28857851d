package rpc

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	pb "lotwright/proto/lotwright/v1"
)

// guard stands around every call, by whatever door it came: it turns calls away
// when too many are under way, keeps a panic from ending the process, and
// translates errors. What it returns is nil or a status.
func (s *Server) guard(method string, call func() error) error {
	if !s.requests.tryTake() {
		f := faultf(codes.ResourceExhausted, reasonBusy, "the server is at its limit of %d requests at a time (limit Requests)", cap(s.requests))
		s.metrics.called(method, f.code)
		return f.status().Err()
	}
	defer s.requests.give()
	err := s.recovered(method, call)
	if err == nil {
		s.metrics.called(method, codes.OK)
		return nil
	}
	st, told := toStatus(err)
	if !told {
		s.options.Log.Error("call failed", "method", method, "error", err.Error())
	}
	s.metrics.called(method, st.Code())
	return st.Err()
}

var errPanic = errors.New("panic")

// recovered turns a panic of call into an error, with its stack in the log.
func (s *Server) recovered(method string, call func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			s.options.Log.Error("panic", "in", method, "value", fmt.Sprint(r), "stack", string(debug.Stack()))
			err = fmt.Errorf("%w in %s", errPanic, method)
		}
	}()
	return call()
}

// ours tells the service's own methods from health and reflection, which must
// answer however busy the server is.
func ours(method string) bool {
	service, _, _ := strings.Cut(strings.TrimPrefix(method, "/"), "/")
	switch service {
	case pb.Designer_ServiceDesc.ServiceName, pb.BatchService_ServiceDesc.ServiceName, pb.Presets_ServiceDesc.ServiceName, longrunningpb.Operations_ServiceDesc.ServiceName:
		return true
	}
	return false
}

func (s *Server) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (resp any, err error) {
	if !ours(info.FullMethod) {
		return handler(ctx, req)
	}
	err = s.guard(info.FullMethod, func() (err error) {
		resp, err = handler(ctx, req)
		return err
	})
	return resp, err
}

func (s *Server) stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if !ours(info.FullMethod) {
		return handler(srv, stream)
	}
	return s.guard(info.FullMethod, func() error { return handler(srv, stream) })
}
