//go:build linux

package cluster

import (
	"encoding/json"
	"os"
)

const (
	stateStarting = "starting"
	stateReady    = "ready"
	stateFailed   = "failed"
)

// status is what the keeper tells the processes that wait for it.
type status struct {
	State   string
	Keeper  int      // process id
	Server  int      // process id
	Socket  string   // folder of the Unix socket
	Notices []string // repairs made at the start
	Error   string
}

// readStatus returns an empty status where there is none yet.
func readStatus(p place) status {
	var s status
	text, err := os.ReadFile(p.file("status.json"))
	if err == nil && json.Unmarshal(text, &s) != nil {
		return status{}
	}
	return s
}

// writeStatus replaces the file in one step, so that readers see whole ones.
func writeStatus(p place, s status) error {
	text, err := json.Marshal(s)
	if err != nil {
		return err
	}
	next := p.file("status.json.new")
	if err := os.WriteFile(next, text, 0o600); err != nil {
		return err
	}
	return os.Rename(next, p.file("status.json"))
}
