package cli_test

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"testing"

	"lotwright/server/cli"
)

// asProgram in the environment makes the test binary the program itself, for
// tests that need it as a process of its own.
const asProgram = "LOTWRIGHT_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) == "" {
		os.Exit(m.Run())
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	os.Exit(cli.Run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
