package cli

import (
	"encoding/json"
	"log/slog"
	"os"
	"sync"
	"time"

	"lotwright/server/rpc"
)

// auditLog is a file with a line of JSON a call. Nil is none.
type auditLog struct {
	mu   sync.Mutex
	file *os.File
	log  *slog.Logger
}

// openAuditLog goes on with a file, or begins it; only its owner may read it. It
// may be emptied or copied at any time, since every line is added at the end.
func openAuditLog(path string, log *slog.Logger) (*auditLog, error) {
	if path == "" {
		return nil, nil
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return nil, err
	}
	return &auditLog{file: file, log: log}, nil
}

// auditLine is a record as it is written.
type auditLine struct {
	Time     time.Time `json:"time"`
	Tenant   string    `json:"tenant,omitempty"`
	Caller   string    `json:"caller,omitempty"`
	From     string    `json:"from"`
	Method   string    `json:"method"`
	Resource string    `json:"resource,omitempty"`
	Outcome  string    `json:"outcome"`
	Seconds  float64   `json:"seconds"`
}

// tell is what the service tells of calls; nil where there is no file.
func (a *auditLog) tell() func(rpc.AuditRecord) {
	if a == nil {
		return nil
	}
	return a.write
}

// write adds a line. A call is not refused because nothing can be written of it
// any more: the log says so each time.
func (a *auditLog) write(r rpc.AuditRecord) {
	line, err := json.Marshal(auditLine{
		Time: r.Time.UTC(), Tenant: string(r.Caller.Tenant), Caller: r.Caller.Name, From: r.From,
		Method: r.Method, Resource: r.Resource, Outcome: r.Outcome, Seconds: r.Took.Seconds(),
	})
	if err == nil {
		a.mu.Lock()
		_, err = a.file.Write(append(line, '\n'))
		a.mu.Unlock()
	}
	if err != nil {
		a.log.Error("a call is missing in the audit log", "error", err.Error(), "method", r.Method)
	}
}

func (a *auditLog) close() {
	if a == nil {
		return
	}
	if err := a.file.Close(); err != nil {
		a.log.Error("the audit log was not closed in order", "error", err.Error())
	}
}
