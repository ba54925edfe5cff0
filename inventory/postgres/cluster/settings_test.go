//go:build linux

package cluster

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestSettings(t *testing.T) {
	const gib = 1 << 30
	for _, c := range []struct {
		name                              string
		memory                            uint64
		sharedBuffers, cache, connections string
		throwaway, mmap                   bool
	}{
		{name: "half a gibibyte", memory: gib / 2, sharedBuffers: "128MB", cache: "256MB", connections: "50"},
		{name: "four gibibytes", memory: 4 * gib, sharedBuffers: "512MB", cache: "2048MB", connections: "50"},
		{name: "a big machine, throw-away", memory: 256 * gib, sharedBuffers: "1024MB", cache: "131072MB", connections: "200", throwaway: true, mmap: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := settings("/tmp/it's", c.memory, c.throwaway, c.mmap)
			for _, want := range []string{"shared_buffers = " + c.sharedBuffers, "effective_cache_size = " + c.cache,
				"max_connections = " + c.connections, "listen_addresses = ''", "unix_socket_directories = '/tmp/it''s'"} {
				if !strings.Contains(text, want+"\n") {
					t.Errorf("no line %q in\n%s", want, text)
				}
			}
			if got := strings.Contains(text, "fsync = off\n"); got != c.throwaway {
				t.Errorf("fsync off is %v", got)
			}
			if got := strings.Contains(text, "dynamic_shared_memory_type = mmap\n"); got != c.mmap {
				t.Errorf("mmap is %v", got)
			}
		})
	}
}

// The files are those of the kernel's cgroup-v2 and cgroup-v1/memory documents.
func TestGroupLimit(t *testing.T) {
	for _, c := range []struct {
		name, membership string
		files            map[string]string
		want             uint64
	}{
		{"v2, limit at the parent", "0::/a/b\n", map[string]string{"a/b/memory.max": "max", "a/memory.max": "1048576\n"}, 1 << 20},
		{"v2, in a container that sees its own group as the top", "0::/docker/x\n", map[string]string{"memory.max": "2097152"}, 2 << 20},
		{"v1", "9:cpu,cpuacct:/c\n4:memory:/a\n0::/\n", map[string]string{"memory/a/memory.limit_in_bytes": "4194304", "memory/memory.limit_in_bytes": "9223372036854771712"}, 4 << 20},
		{"none", "0::/\n", nil, 1<<64 - 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			root := t.TempDir()
			for name, text := range c.files {
				path := filepath.Join(root, name)
				if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			if got := groupLimit(root, c.membership); got != c.want {
				t.Errorf("limit %d, want %d", got, c.want)
			}
		})
	}
}

func TestRotateLog(t *testing.T) {
	path := filepath.Join(t.TempDir(), "server.log")
	if err := rotateLog(path); err != nil {
		t.Errorf("no log yet: %v", err)
	}
	if err := os.WriteFile(path, make([]byte, logLimit), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := rotateLog(path); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]int64{path: 0, path + ".1": logLimit} {
		if info, err := os.Stat(name); err != nil || info.Size() != want {
			t.Errorf("%s: %v, want %d bytes", name, err, want)
		}
	}
}
