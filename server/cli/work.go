package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"lotwright/server/queue"
)

// databaseFlags name a database that several processes share.
type databaseFlags struct {
	Database      string        `env:"LOTWRIGHT_DATABASE" placeholder:"postgres://…" help:"Keep batches in this PostgreSQL database with PostGIS, which any number of lotwright work may share: an address, or file:PATH for a file that holds it. Other users of the machine can see a command line: a password is better in the file, in the environment or in ~/.pgpass."`
	WorkerSilence time.Duration `default:"20s" placeholder:"20s" help:"With a database: after how long without a sign a process is taken for dead, and its lots are taken over; the same for all that share it."`
}

// mostAddress is the most bytes of a database's address.
const mostAddress = 1 << 16

// address is that of the database; empty when there is none.
func (d databaseFlags) address() (string, error) {
	if d.WorkerSilence < 0 {
		return "", usagef("--worker-silence: got %v, want more than nothing", d.WorkerSilence)
	}
	path, inFile := strings.CutPrefix(d.Database, "file:")
	if !inFile {
		return d.Database, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close() // it was only read
	text, err := io.ReadAll(io.LimitReader(f, mostAddress))
	if err == nil && len(strings.TrimSpace(string(text))) == 0 {
		err = errors.New("no address of a database in it")
	}
	if err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	return strings.TrimSpace(string(text)), nil
}

// workCommand designs lots of batches that a service keeps in a database.
type workCommand struct {
	databaseFlags
	traceFlags
	Workers   int           `placeholder:"N" help:"Lots worked on at a time; default: one a processor."`
	LotTime   time.Duration `name:"limit-lot-time" placeholder:"2m" help:"For a lot; one that takes longer has failed."`
	LogFormat string        `enum:"text,json" default:"text" placeholder:"text|json" help:"Form of the log on standard error."`
}

// Help is shown below the summary by work --help.
func (workCommand) Help() string {
	return `Any number of these, on any machines that reach the database, share the lots of all batches with each other and with lotwright serve --database. Each may be killed at any moment: others take over what it was at. It stops on Ctrl-C, after the lots under way.

Examples:

    LOTWRIGHT_DATABASE=postgres://lotwright@db.example/lots lotwright work
    lotwright work --database file:/etc/lotwright/database --workers 8`
}

// Run works until ctx ends.
func (w *workCommand) Run(ctx context.Context, c *console) error {
	workers, err := runFlags{Workers: w.Workers}.workers()
	if err != nil {
		return err
	}
	address, err := w.address()
	if err != nil {
		return err
	}
	if address == "" {
		return usagef("--database (or LOTWRIGHT_DATABASE) must say where the batches are")
	}
	kept, err := openDatabase(ctx, address)
	if err != nil {
		return err
	}
	log := slog.New(logHandler(w.LogFormat, c.err))
	traced, err := w.traced(ctx, log)
	if err != nil {
		return errors.Join(err, kept.close())
	}
	defer traced.close()
	options := serviceOptions(workers, log)
	options.Tracer = traced.tracer()
	_, jobs, err := batchService(ctx, kept, queue.Options{LotTime: w.LotTime, Silence: w.WorkerSilence}, options)
	if err != nil {
		return errors.Join(err, kept.close())
	}
	log.Info("working", "workers", workers)
	<-ctx.Done()
	err = drain(jobs)
	log.Info("stopped")
	return errors.Join(err, kept.close())
}
