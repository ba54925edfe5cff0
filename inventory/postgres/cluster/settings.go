//go:build linux

package cluster

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

const (
	settingsName = "underbough.conf"
	mebibyte     = 1 << 20
)

// writeSettings writes our settings anew at each start, and has
// postgresql.conf include them. What someone sets by ALTER SYSTEM wins.
func writeSettings(p place, socket string, throwaway bool) error {
	text := settings(socket, memoryLimit(), throwaway, smallShm())
	if err := os.WriteFile(filepath.Join(p.database(), settingsName), []byte(text), 0o600); err != nil {
		return err
	}
	// The folder of the socket admits one user, so who gets there is trusted.
	if err := os.WriteFile(filepath.Join(p.database(), "pg_hba.conf"), []byte("local all all trust\n"), 0o600); err != nil {
		return err
	}
	main := filepath.Join(p.database(), "postgresql.conf")
	have, err := os.ReadFile(main)
	if err != nil {
		return err
	}
	include := "include '" + settingsName + "'\n"
	if strings.Contains(string(have), include) {
		return nil
	}
	next := main + ".new"
	if err := os.WriteFile(next, append(have, "\n"+include...), 0o600); err != nil {
		return err
	}
	return os.Rename(next, main)
}

// settings sizes the server for memory bytes shared with our own program.
// The sizes are common practice (an eighth of the memory here, not the usual
// quarter, as the program itself computes beside it), no source.
func settings(socket string, memory uint64, throwaway, mmap bool) string {
	shared := min(max(memory/8/mebibyte, 128), 1024)
	cache := max(memory/2/mebibyte, 256)
	lines := []string{
		"# Written at each start; changes are lost. Use ALTER SYSTEM for settings of your own.",
		"listen_addresses = ''",
		fmt.Sprintf("port = %d", socketPort),
		"unix_socket_directories = '" + strings.ReplaceAll(socket, "'", "''") + "'",
		"unix_socket_permissions = 0700",
		fmt.Sprintf("shared_buffers = %dMB", shared),
		fmt.Sprintf("effective_cache_size = %dMB", cache),
		"work_mem = 32MB",
		"maintenance_work_mem = 256MB",
		"random_page_cost = 1.1",
		"jit = off",
		"wal_level = minimal",
		"max_wal_senders = 0",
		"max_wal_size = 4GB",
		"checkpoint_timeout = 15min",
		"autovacuum = on",
		"timezone = 'UTC'",
		"log_timezone = 'UTC'",
		"log_destination = 'stderr'",
		"logging_collector = off", // the keeper owns and rotates the log
		"log_line_prefix = '%m [%p] '",
	}
	if mmap {
		// Parallel queries fail where /dev/shm is as small as containers make it.
		lines = append(lines, "dynamic_shared_memory_type = mmap")
	}
	if throwaway {
		lines = append(lines, "max_connections = 200", "fsync = off", "synchronous_commit = off", "full_page_writes = off")
	} else {
		lines = append(lines, "max_connections = 50")
	}
	return strings.Join(lines, "\n") + "\n"
}

func smallShm() bool {
	var st unix.Statfs_t
	if err := unix.Statfs("/dev/shm", &st); err != nil {
		return true
	}
	return st.Blocks*uint64(st.Bsize) < 512*mebibyte
}

// memoryLimit is the machine's memory in bytes, or the control group's limit
// where that is lower.
func memoryLimit() uint64 {
	memory := uint64(1 << 30)
	var info unix.Sysinfo_t
	if err := unix.Sysinfo(&info); err == nil {
		memory = uint64(info.Totalram) * uint64(info.Unit)
	}
	text, err := os.ReadFile("/proc/self/cgroup")
	if err != nil {
		return memory
	}
	return min(memory, groupLimit("/sys/fs/cgroup", string(text)))
}

// groupLimit is the lowest limit on the way from this process's memory control
// group to the top, in either version of control groups. membership is the
// text of /proc/self/cgroup.
func groupLimit(root, membership string) uint64 {
	limit := uint64(math.MaxUint64)
	for line := range strings.Lines(membership) {
		parts := strings.SplitN(strings.TrimSpace(line), ":", 3)
		if len(parts) != 3 {
			continue
		}
		dir, file := root, "memory.max"
		if strings.Contains(","+parts[1]+",", ",memory,") {
			dir, file = filepath.Join(root, "memory"), "memory.limit_in_bytes"
		} else if parts[1] != "" {
			continue
		}
		for path := filepath.Clean("/" + parts[2]); ; path = filepath.Dir(path) {
			if n, ok := readLimit(filepath.Join(dir, path, file)); ok {
				limit = min(limit, n)
			}
			if path == "/" {
				break
			}
		}
	}
	return limit
}

// readLimit reads one limit; "max" and a missing file are none.
func readLimit(path string) (uint64, bool) {
	text, err := os.ReadFile(path)
	if err != nil {
		return 0, false
	}
	n, err := strconv.ParseUint(strings.TrimSpace(string(text)), 10, 64)
	return n, err == nil && n > 0
}
