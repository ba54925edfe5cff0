//go:build unix

package pdf

import (
	"os/exec"
	"syscall"
)

// own gives the browser a process group of its own, which ends whole when the
// time is up: it starts many processes.
func own(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
}
