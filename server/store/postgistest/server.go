//go:build postgis

package postgistest

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// Server is a PostgreSQL.
type Server struct {
	address  string // of its first database
	template string // an empty database with PostGIS: to make that takes its time

	// Of one that was started here:
	folder string
	owner  *syscall.Credential // nil: whoever runs the test
	guard  *exec.Cmd
	alive  io.Closer // its end ends the server
}

// Start starts a server, or takes the one that is given; it ends with the test.
func Start(t testing.TB) *Server {
	t.Helper()
	s := &Server{address: os.Getenv("LOTWRIGHT_TEST_POSTGRES")}
	if s.address == "" {
		s.install(t)
	}
	s.template = s.create(t, "")
	s.exec(t, s.template, `CREATE EXTENSION postgis`)
	return s
}

// install makes a server of the test's own and starts it.
func (s *Server) install(t testing.TB) {
	t.Helper()
	var err error
	s.folder, err = os.MkdirTemp("", "lwpg") // short: the path of a socket has a bound
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(s.folder) })
	s.owner = owner(t, s.folder)
	s.address = "postgres:///postgres?" + url.Values{"host": {s.folder}, "user": {"postgres"}}.Encode()
	out, err := s.command(t, "initdb", "-D", s.data(), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale", "C", "--no-sync").CombinedOutput()
	require.NoError(t, err, string(out))
	s.Up(t)
	t.Cleanup(func() { s.Down(t) })
}

// owner is as whom the server runs: it refuses to be run by root.
func owner(t testing.TB, folder string) *syscall.Credential {
	if os.Getuid() != 0 {
		return nil
	}
	u, err := user.Lookup("postgres")
	require.NoError(t, err, "PostgreSQL does not run as root")
	uid, err := strconv.Atoi(u.Uid)
	require.NoError(t, err)
	gid, err := strconv.Atoi(u.Gid)
	require.NoError(t, err)
	require.NoError(t, os.Chown(folder, uid, gid))
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
}

func (s *Server) data() string { return filepath.Join(s.folder, "data") }

// command is a program of PostgreSQL, run by the server's owner.
func (s *Server) command(t testing.TB, name string, args ...string) *exec.Cmd {
	c := exec.Command(program(t, name), args...)
	c.Dir = s.folder
	c.SysProcAttr = &syscall.SysProcAttr{Credential: s.owner, Setpgid: true}
	return c
}

// program finds a program of PostgreSQL, of the newest release.
func program(t testing.TB, name string) string {
	if path, err := exec.LookPath(name); err == nil {
		return path
	}
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	require.NoError(t, err)
	require.NotEmpty(t, found, "the tag postgis needs PostgreSQL with PostGIS, or LOTWRIGHT_TEST_POSTGRES: %s was not found", name)
	slices.Sort(found)
	return found[len(found)-1]
}

// guarded runs a server until its input ends, so that none outlives its test,
// however that ends.
const guarded = `"$@" & p=$!; read _; kill -QUIT $p; wait $p`

// patience is how long a server may take to start: after it was cut off it first
// looks through all of its files.
const patience = 3 * time.Minute

// Up starts the server again after [Server.Down].
func (s *Server) Up(t testing.TB) {
	t.Helper()
	s.guard = s.command(t, "postgres")
	args := append([]string{"sh", "-c", guarded, "sh", s.guard.Path}, "-D", s.data(), "-k", s.folder, "-c", "listen_addresses=", "-c", "max_connections=200", "-c", "logging_collector=off", "-c", "recovery_init_sync_method=syncfs")
	s.guard.Path, s.guard.Args = "/bin/sh", args
	log, err := os.OpenFile(filepath.Join(s.folder, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	require.NoError(t, err)
	defer log.Close()
	s.guard.Stdout, s.guard.Stderr = log, log
	s.alive, err = s.guard.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, s.guard.Start())
	require.Eventually(t, func() bool { return s.answers() }, patience, 20*time.Millisecond, "PostgreSQL does not start; see %s/log", s.folder)
}

func (s *Server) answers() bool {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	c, err := pgx.Connect(ctx, s.address)
	if err != nil {
		return false
	}
	return c.Close(ctx) == nil
}

// Down ends a server that was started here, cutting off its clients, as when the
// machine that it runs on is switched off: nothing is brought to an end.
func (s *Server) Down(t testing.TB) {
	if s.guard == nil {
		return
	}
	require.NoError(t, s.alive.Close())
	_ = s.guard.Wait() // how it ends is how it was ended
	s.guard = nil
}

// Own reports whether the server was started here, and can be stopped.
func (s *Server) Own() bool { return s.folder != "" }

var databases atomic.Int64

// Database makes an empty database, which goes with the test.
func (s *Server) Database(t testing.TB) (address string) {
	t.Helper()
	return s.of(t, s.create(t, ` TEMPLATE `+s.template))
}

func (s *Server) create(t testing.TB, like string) (name string) {
	t.Helper()
	name = fmt.Sprintf("lotwright_test_%d_%d", os.Getpid(), databases.Add(1))
	s.exec(t, "", `CREATE DATABASE `+name+like)
	if !s.Own() { // of a server that goes as well there is no need
		t.Cleanup(func() { s.exec(t, "", `DROP DATABASE `+name+` WITH (FORCE)`) })
	}
	return name
}

// of is the address of a database; without a name, of the server's first.
func (s *Server) of(t testing.TB, name string) (address string) {
	if name == "" {
		return s.address
	}
	config, err := pgx.ParseConfig(s.address)
	require.NoError(t, err)
	u := url.URL{Scheme: "postgres", Path: "/" + name, RawQuery: url.Values{
		"host": {config.Host}, "port": {strconv.Itoa(int(config.Port))}, "user": {config.User}, "password": {config.Password},
	}.Encode()}
	return u.String()
}

func (s *Server) exec(t testing.TB, database, statement string) {
	t.Helper()
	ctx := context.Background() // that of the test has ended when it cleans up
	c, err := pgx.Connect(ctx, s.of(t, database))
	require.NoError(t, err)
	defer c.Close(ctx)
	_, err = c.Exec(ctx, statement)
	require.NoError(t, err)
}
