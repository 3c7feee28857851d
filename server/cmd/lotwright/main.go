// Command lotwright designs lawn sprinklers for batches of residential lots.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"lotwright/server/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	os.Exit(cli.Run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
