package rpc

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"lotwright/server/store"
)

// errorDomain is the domain of the reasons in google.rpc.ErrorInfo.
const errorDomain = "lotwright"

// Reasons of faults: the "code" of a problem document and the reason of
// google.rpc.ErrorInfo. They do not change.
const (
	reasonInvalidField    = "INVALID_FIELD"  // a field or parameter; see the violations
	reasonInvalidStream   = "INVALID_STREAM" // messages of a stream in the wrong order
	reasonRefusedInput    = "REFUSED_INPUT"  // the body as a whole; see the rule
	reasonLimit           = "LIMIT_EXCEEDED" // see limit
	reasonQuota           = "QUOTA_EXCEEDED" // what a tenant may have; see limit
	reasonBusy            = "TOO_MANY_REQUESTS"
	reasonBodyUnreadable  = "BODY_UNREADABLE" // broken off, or not what its encoding says
	reasonBodyTimeout     = "BODY_TIMEOUT"    // the client stopped sending
	reasonStreamTimeout   = "STREAM_TIMEOUT"  // the client sent no further lot
	reasonMediaType       = "UNSUPPORTED_MEDIA_TYPE"
	reasonNotAcceptable   = "NOT_ACCEPTABLE"
	reasonForbiddenHost   = "FORBIDDEN_HOST"
	reasonForbiddenOrigin = "FORBIDDEN_ORIGIN"
	reasonNotFound        = "NOT_FOUND"
	reasonExists          = "EXISTS"
	reasonRequestReused   = "REQUEST_ID_REUSED" // with another request
	reasonWrongState      = "WRONG_STATE"       // what is asked for does not go with the present state
	reasonChecksum        = "CHECKSUM"          // what came is not what was sent
	reasonImportGap       = "IMPORT_GAP"        // lots before this place are missing
	reasonOutcomeUnknown  = "OUTCOME_UNKNOWN"   // to be repeated with the same request id
	reasonStoreFull       = "STORE_FULL"
	reasonStoreAway       = "STORE_AWAY" // its database does not answer
	reasonStopping        = "STOPPING"
	reasonNotReady        = "NOT_READY"
	reasonUnauthenticated = "UNAUTHENTICATED" // who calls is not known
)

// Keys of google.rpc.ErrorInfo metadata that become members of a problem
// document.
const (
	aboutLot     = "lot"
	aboutFeature = "feature"
	aboutRule    = "rule"
	aboutPlace   = "place" // longitude, latitude
	aboutLimit   = "limit"
	aboutMost    = "most"
)

// retryAfter is when a client that was turned away should come back.
const retryAfter = time.Second

// fault is an error of a request, as far as the client is told of it.
type fault struct {
	code       codes.Code
	reason     string
	text       string
	about      map[string]string
	violations []violation
	retry      time.Duration // when to come back; 0 where that is not known
}

// violation is what is wrong with one field.
type violation struct{ field, text string }

func (f *fault) Error() string { return f.text }

func faultf(code codes.Code, reason, format string, args ...any) *fault {
	return &fault{code: code, reason: reason, text: fmt.Sprintf(format, args...)}
}

// overLimit names the limit by its field in [Limits].
func overLimit(limit string, most int64, what string) *fault {
	f := faultf(codes.ResourceExhausted, reasonLimit, "%s: at most %d are taken (limit %s)", what, most, limit)
	f.about = map[string]string{aboutLimit: limit, aboutMost: strconv.FormatInt(most, 10)}
	return f
}

func invalidFields(violations []violation) *fault {
	var texts []string
	for _, v := range violations {
		texts = append(texts, v.field+": "+v.text)
	}
	f := faultf(codes.InvalidArgument, reasonInvalidField, "%s", strings.Join(texts, "; "))
	f.violations = violations
	return f
}

func (r *Refusal) fault() *fault {
	f := faultf(codes.InvalidArgument, reasonRefusedInput, "%s", r.Error())
	f.about = map[string]string{aboutRule: r.Rule}
	if r.Lot != "" {
		f.about[aboutLot] = r.Lot
	}
	if r.Feature != nil {
		f.about[aboutFeature] = strconv.Itoa(*r.Feature)
	}
	if r.Place != nil {
		f.about[aboutPlace] = fmt.Sprintf("%.8f,%.8f", r.Place[0], r.Place[1])
	}
	return f
}

// status is the fault as gRPC sends it.
func (f *fault) status() *status.Status {
	details := []protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: f.reason, Domain: errorDomain, Metadata: f.validAbout()}}
	if len(f.violations) > 0 {
		bad := &errdetails.BadRequest{}
		for _, v := range f.violations {
			bad.FieldViolations = append(bad.FieldViolations,
				&errdetails.BadRequest_FieldViolation{Field: valid(v.field), Description: valid(v.text)})
		}
		details = append(details, bad)
	}
	retry := f.retry
	if retry == 0 && f.reason == reasonBusy {
		retry = retryAfter
	}
	if retry > 0 {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(retry)})
	}
	plain := status.New(f.code, valid(f.text))
	if detailed, err := plain.WithDetails(details...); err == nil {
		return detailed
	}
	return plain
}

func (f *fault) validAbout() map[string]string {
	out := map[string]string{}
	for k, v := range f.about {
		out[k] = valid(v)
	}
	return out
}

// valid makes s fit for a proto string, which must be UTF-8.
func valid(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// toStatus translates any error; ok is false for one that the client is not told
// all of.
func toStatus(err error) (st *status.Status, ok bool) {
	var f *fault
	var refusal *Refusal
	switch {
	case errors.As(err, &f):
		return f.status(), true
	case errors.As(err, &refusal):
		return refusal.fault().status(), true
	case storeFault(err) != nil:
		return storeFault(err).status(), !errors.Is(err, store.ErrUnknown) && !errors.Is(err, store.ErrFull) && !errors.Is(err, store.ErrAway)
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return status.FromContextError(err), true
	}
	if st, ok := status.FromError(err); ok {
		return st, true
	}
	return status.New(codes.Internal, "internal error; the server's log has the details"), false
}
