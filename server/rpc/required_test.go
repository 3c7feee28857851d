package rpc_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
)

// TestRequiredFieldsAreRequired: a request that lacks what its proto calls
// REQUIRED is refused by every method, of those there are and those to come.
func TestRequiredFieldsAreRequired(t *testing.T) {
	o := keep(t, nil)
	checked := 0
	for _, method := range methods(t) {
		if method.IsStreamingClient() || method.ParentFile().Package() != "lotwright.v1" || !hasRequired(method.Input()) {
			continue
		}
		stream, err := o.conn.NewStream(t.Context(), &grpc.StreamDesc{ServerStreams: true}, "/"+string(method.Parent().FullName())+"/"+string(method.Name()))
		assert.NoError(t, err)
		_ = stream.SendMsg(dynamicpb.NewMessage(method.Input()))
		_ = stream.CloseSend()
		err = stream.RecvMsg(dynamicpb.NewMessage(method.Output()))
		assert.Equal(t, codes.InvalidArgument, code(err), "%s: %v", method.FullName(), err)
		checked++
	}
	assert.GreaterOrEqual(t, checked, 15)
}

func hasRequired(m protoreflect.MessageDescriptor) bool {
	for i := range m.Fields().Len() {
		behaviour, _ := proto.GetExtension(m.Fields().Get(i).Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
		for _, b := range behaviour {
			if b == annotations.FieldBehavior_REQUIRED {
				return true
			}
		}
	}
	return false
}
