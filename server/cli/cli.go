// Package cli is the lotwright command line. Each subcommand is a struct in a
// file of its own: its fields are the flags, its Run is the work. This is also
// where the importer, the design and the service are wired together.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/alecthomas/kong"
)

// Exit codes.
const (
	ExitOK          = 0 // every lot designed, or nothing to find fault with
	ExitFault       = 1 // the request as a whole failed, or was interrupted
	ExitUsage       = 2 // the command line itself is wrong
	ExitNotDesigned = 3 // some lots were not designed; each is named with its reason
)

// helpWidth keeps help within a usual terminal.
const helpWidth = 100

// commands is the grammar of the command line.
type commands struct {
	Design   designCommand   `cmd:"" help:"Design every lot of the inputs: heads, trench and pictures."`
	Compare  compareCommand  `cmd:"" help:"Design every lot at several pressures and compare the totals."`
	Takeoff  takeoffCommand  `cmd:"" help:"List what to buy, cut and dig, with prices."`
	Schedule scheduleCommand `cmd:"" help:"Work out run times, month by month."`
	Sheet    sheetCommand    `cmd:"" help:"Print field sheets, bound into one book."`
	Audit    auditCommand    `cmd:"" help:"Set beside the designs what was built, or what catch cans caught."`
	Check    checkCommand    `cmd:"" help:"Say what is wrong with the inputs, without designing."`
	Serve    serveCommand    `cmd:"" help:"Answer design requests over gRPC and REST."`
	Work     workCommand     `cmd:"" help:"Design lots of batches that a service keeps in a database."`
	Keys     keysCommand     `cmd:"" help:"Make, list and revoke the keys that callers of a service are known by."`
	Backup   backupCommand   `cmd:"" help:"Copy the batches that a service keeps, while it is at work or not."`
	Restore  restoreCommand  `cmd:"" help:"Make a store of a copy."`
	Version  versionCommand  `cmd:"" help:"Print the version."`

	Apart apartCommand `cmd:"" hidden:"" name:"design-apart" help:"Design one lot for the service."`
}

// Help is shown below the summary by lotwright --help.
func (commands) Help() string {
	return `Example:

    lotwright design lots.geojson --head-pressure 55psi -o out/`
}

// console is where a command reads and writes.
type console struct {
	in       io.Reader
	out, err io.Writer
}

// usageError marks a fault of the command line itself.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// errNotDesigned says that the run went through but some lots have no design;
// they have been reported by then.
var errNotDesigned = errors.New("some lots were not designed")

// Run runs the command line args (without the program's name) and returns the
// exit code. Cancelling ctx stops it in order: what is done is written and the
// files are completed. It never panics on bad arguments and never ends the process.
func Run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	c := &console{in: stdin, out: stdout, err: stderr}
	helped := false
	parser, err := kong.New(&commands{}, append(quantities(),
		kong.Name("lotwright"),
		kong.Description("Designs lawn sprinklers for batches of residential lots: head positions, the proof of how few are enough, and the trench that joins them."),
		kong.Writers(stdout, stderr),
		kong.Exit(func(int) { helped = true }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: helpWidth}),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(c),
	)...)
	if err != nil {
		return c.fail(err)
	}
	command, err := parser.Parse(args)
	switch {
	case helped:
		return ExitOK
	case err != nil:
		return c.fail(usageError{err})
	}
	return c.fail(command.Run())
}

// fail reports err, if there is one to report, and returns its exit code.
func (c *console) fail(err error) int {
	switch {
	case err == nil:
		return ExitOK
	case errors.Is(err, errNotDesigned):
		return ExitNotDesigned
	}
	fmt.Fprintf(c.err, "lotwright: %s\n", printable(err.Error()))
	if errors.As(err, new(usageError)) {
		fmt.Fprintln(c.err, `Run "lotwright <command> --help" for the flags and examples.`)
		return ExitUsage
	}
	return ExitFault
}
