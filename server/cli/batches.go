package cli

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/riverdriver/riversqlite"

	"lotwright/server/queue"
	"lotwright/server/rpc"
	"lotwright/server/store"
	"lotwright/server/store/postgis"
	"lotwright/server/store/sqlite"
)

// opened is a store with what its queue needs.
type opened[Tx any] struct {
	store.Engine[Tx]
	driver riverdriver.Driver[Tx]
	roll   queue.Roll      // of the processes that share it; nil: one has it alone
	failed <-chan struct{} // closed once it must be opened again; nil: never
	close  func() error
}

// openFolder opens a store in a file.
func openFolder(ctx context.Context, folder string, keepFree byteSize) (opened[*sql.Tx], error) {
	s, err := sqlite.Open(ctx, folder)
	if err != nil {
		return opened[*sql.Tx]{}, err
	}
	s.KeepFree(int64(keepFree))
	return opened[*sql.Tx]{Engine: s, driver: riversqlite.New(s.Writer()), failed: s.Failed(), close: s.Close}, nil
}

// openDatabase opens a store in a PostGIS database.
func openDatabase(ctx context.Context, address string) (opened[pgx.Tx], error) {
	s, err := postgis.Open(ctx, address, postgis.Options{Parcel: rpc.ParcelStored, GeoJSON: rpc.GeoJSONStored})
	if err != nil {
		return opened[pgx.Tx]{}, err
	}
	return opened[pgx.Tx]{Engine: s, driver: riverpgxv5.New(s.Pool()), roll: s, close: s.Close}, nil
}

// keptBatches says where batches are kept, and how they are worked on.
type keptBatches struct {
	Data     string        `type:"path" placeholder:"DIR" help:"Keep batches of lots in this folder and design them in the background; without it, nothing is kept."`
	KeepFree byteSize      `default:"512MiB" placeholder:"512MiB" help:"With less than this free on the disk of --data, nothing new is taken in and /readyz says so; runs under way go on." group:"Limits:"`
	Workless bool          `help:"Leave the lots of batches to lotwright work. Needs --database."`
	LotTime  time.Duration `name:"limit-lot-time" placeholder:"2m" help:"For a lot of a batch; one that takes longer has failed." group:"Limits:"`
	databaseFlags
}

// serve serves with a store and a queue behind, where batches are kept.
func (k keptBatches) serve(ctx context.Context, options rpc.Options, at *listeners) error {
	address, err := k.address()
	switch {
	case err != nil:
	case address == "" && k.Workless:
		err = usagef("--workless: nobody else works on batches unless they are kept in a --database")
	case address == "":
		kept, err := openFolder(ctx, k.Data, k.KeepFree)
		options.Uploads = filepath.Join(k.Data, "uploads")
		return serveBatches(ctx, kept, err, queue.Options{LotTime: k.LotTime}, options, at)
	case k.Data != "":
		err = usagef("--data and --database (or LOTWRIGHT_DATABASE): batches are kept in one place")
	}
	if err != nil {
		return errors.Join(err, at.close())
	}
	kept, err := openDatabase(ctx, address)
	return serveBatches(ctx, kept, err, queue.Options{LotTime: k.LotTime, Silence: k.WorkerSilence, Elsewhere: k.Workless}, options, at)
}

// serveBatches serves a store that was opened. Lots under way at the end are
// finished if that takes no longer than requests are given.
func serveBatches[Tx any](ctx context.Context, kept opened[Tx], err error, how queue.Options, options rpc.Options, at *listeners) error {
	if err != nil {
		return errors.Join(err, at.close())
	}
	options.Store = kept
	server, jobs, err := batchService(ctx, kept, how, options)
	if err != nil {
		return errors.Join(err, at.close(), kept.close())
	}
	ctx, fail := context.WithCancelCause(ctx)
	defer fail(nil)
	go func() {
		select {
		case <-kept.failed:
			fail(errDisk)
		case <-ctx.Done():
		}
	}()
	drained := make(chan error, 1)
	go func() {
		<-ctx.Done()
		drained <- drain(jobs)
	}()
	err = answer(ctx, server, options, at)
	fail(nil)
	if errors.Is(context.Cause(ctx), errDisk) {
		err = errors.Join(errDisk, err)
	}
	return errors.Join(err, <-drained, kept.close())
}

// errDisk ends a service whose disk has failed: what it shows of the store need
// not be there any more. The next start reads what is.
var errDisk = errors.New("the disk failed a write; see the log, and start again")

// batchService is the service with its queue at work.
func batchService[Tx any](ctx context.Context, kept opened[Tx], how queue.Options, options rpc.Options) (*rpc.Server, *queue.Queue[Tx], error) {
	server, err := rpc.New(options)
	if err != nil {
		return nil, nil, err
	}
	how.Design, how.Apart, how.Failed, how.Admit = server.DesignStored, designApart, server.FailedStored, server.Admit
	how.Roll, how.Workers, how.Log, how.Tracer = kept.roll, options.Workers, options.Log, options.Tracer
	jobs, err := queue.New(ctx, kept.driver, kept.Engine, how)
	if err != nil {
		return nil, nil, err
	}
	return server, jobs, jobs.Start(ctx)
}

// drainTime is how long lots under way are waited for.
const drainTime = 10 * time.Second

func drain[Tx any](jobs *queue.Queue[Tx]) error {
	ctx, cancel := context.WithTimeout(context.Background(), drainTime)
	defer cancel()
	return jobs.Stop(ctx)
}

// A lot that may have ended a service is designed by another process, which says
// on its output what came of it.

// apartRequest is what that process reads.
type apartRequest struct {
	Lot      store.Lot
	Settings []byte
}

// designApart designs a lot in a process of its own.
func designApart(ctx context.Context, lot store.Lot, settings []byte) (store.Design, error) {
	self, err := os.Executable()
	if err != nil {
		return store.Design{}, err
	}
	var request, answer, log bytes.Buffer
	if err := gob.NewEncoder(&request).Encode(apartRequest{lot, settings}); err != nil {
		return store.Design{}, err
	}
	child := exec.CommandContext(ctx, self, "design-apart")
	in, err := child.StdinPipe()
	if err != nil {
		return store.Design{}, err
	}
	defer in.Close() // open until the answer is there: its end tells the child that nobody waits
	child.Stdout, child.Stderr = &answer, &log
	if err := child.Start(); err != nil {
		return store.Design{}, err
	}
	_, unread := in.Write(request.Bytes())
	err = errors.Join(child.Wait(), unread)
	var d store.Design
	if err == nil {
		err = gob.NewDecoder(&answer).Decode(&d)
	}
	switch {
	case ctx.Err() != nil:
		return store.Design{}, ctx.Err()
	case err != nil:
		return store.Design{}, fmt.Errorf("%w: %w: %s", queue.ErrDied, err, tail(log.Bytes()))
	}
	return d, nil
}

// tail is the end of a log that may be long.
func tail(log []byte) []byte {
	const most = 2000
	return log[max(len(log)-most, 0):]
}

// dieFirst asks Linux to end this process, rather than the one that waits for it,
// should memory run out. Elsewhere there is no such file.
func dieFirst() { _ = os.WriteFile("/proc/self/oom_score_adj", []byte("1000"), 0o600) }

// apartCommand is that process.
type apartCommand struct{}

// Run designs the lot on its input.
func (apartCommand) Run(ctx context.Context, c *console) error {
	dieFirst()
	var request apartRequest
	if err := gob.NewDecoder(c.in).Decode(&request); err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	go func() {
		_, _ = io.Copy(io.Discard, c.in)
		cancel() // whoever asked is gone
	}()
	server, err := rpc.New(serviceOptions(1, slog.New(slog.NewTextHandler(c.err, nil))))
	if err != nil {
		return err
	}
	d, err := server.DesignStored(ctx, request.Lot, request.Settings)
	if err != nil {
		return err
	}
	return gob.NewEncoder(c.out).Encode(d)
}

// backupCommand copies the store of a service.
type backupCommand struct {
	Data string `required:"" type:"existingdir" placeholder:"DIR" help:"The folder that lotwright serve --data was given."`
	Out  string `arg:"" type:"path" help:"File to write; it must not be there."`
}

// Help is shown below the summary by backup --help.
func (backupCommand) Help() string {
	return `The copy is of one moment and is checked before it gets its name. To go back to it: lotwright restore.

Example:

    lotwright backup --data /var/lib/lotwright batches-monday.db`
}

// Run writes the copy.
func (b *backupCommand) Run(ctx context.Context) error { return sqlite.Backup(ctx, b.Data, b.Out) }

// restoreCommand goes back to a copy.
type restoreCommand struct {
	Data string `required:"" type:"path" placeholder:"DIR" help:"The folder to make a store in; it must have none."`
	In   string `arg:"" type:"existingfile" help:"File that lotwright backup wrote."`
}

// Help is shown below the summary by restore --help.
func (restoreCommand) Help() string {
	return `The copy is checked and stays as it is. Runs that were under way when it was made go on at the next start.

Example:

    lotwright restore --data /var/lib/lotwright-restored batches-monday.db`
}

// Run makes the store.
func (r *restoreCommand) Run(ctx context.Context) error { return sqlite.Restore(ctx, r.In, r.Data) }
