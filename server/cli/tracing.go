package cli

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"os"
	"time"

	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	"go.opentelemetry.io/otel/sdk/resource"
	sdk "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
)

// traceFlags say where traces are sent.
type traceFlags struct {
	OTLPEndpoint string `name:"otlp-endpoint" placeholder:"URL" help:"Send traces there, by OpenTelemetry's protocol over HTTP. Its usual environment variables (OTEL_EXPORTER_OTLP_ENDPOINT and so on) are heeded. Without either nothing is sent anywhere."`
}

// traced is where spans go; its tracer is nil where they go nowhere.
type traced struct {
	provider *sdk.TracerProvider
	log      *slog.Logger
}

// traced begins to send spans, if it is told where. A collector that does not
// answer costs spans and no calls.
func (f traceFlags) traced(ctx context.Context, log *slog.Logger) (*traced, error) {
	if cmp.Or(f.OTLPEndpoint, os.Getenv("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT"), os.Getenv("OTEL_EXPORTER_OTLP_ENDPOINT")) == "" {
		return &traced{}, nil
	}
	var options []otlptracehttp.Option
	if f.OTLPEndpoint != "" {
		options = append(options, otlptracehttp.WithEndpointURL(f.OTLPEndpoint))
	}
	exporter, err := otlptracehttp.New(ctx, options...)
	if err != nil {
		return nil, err
	}
	about, err := resource.New(ctx, resource.WithAttributes(attribute.String("service.name", "lotwright")), resource.WithFromEnv())
	if err != nil {
		return nil, errors.Join(err, exporter.Shutdown(ctx))
	}
	otel.SetErrorHandler(otel.ErrorHandlerFunc(func(err error) { log.Warn("traces are not sent", "error", err.Error()) }))
	return &traced{sdk.NewTracerProvider(sdk.WithBatcher(exporter), sdk.WithResource(about)), log}, nil
}

func (t *traced) tracer() trace.Tracer {
	if t.provider == nil {
		return nil
	}
	return t.provider.Tracer("lotwright")
}

// lastSpans is how long the last spans are waited for.
const lastSpans = 5 * time.Second

func (t *traced) close() {
	if t.provider == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), lastSpans)
	defer cancel()
	if err := t.provider.Shutdown(ctx); err != nil {
		t.log.Warn("the last traces were not sent", "error", err.Error())
	}
}
