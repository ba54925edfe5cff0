package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
	"github.com/underbough/underbough/inventory/tiling/pmtiles"
)

// tilesFile is a PMTiles file under way: the tiles gather in a file beside it,
// and the whole takes its name when it is done.
type tilesFile struct {
	path, temporary string
	tiles           *os.File
	buffer          *bufio.Writer
	directory       pmtiles.Directory
	size            int64
}

func newTilesFile(path string) (*tilesFile, error) {
	path, err := writable(path)
	if err != nil {
		return nil, err
	}
	f, err := createBeside(path)
	if err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "--out %s cannot be written: %w", path, err)
	}
	return &tilesFile{path: path, temporary: f.Name(), tiles: f, buffer: bufio.NewWriterSize(f, 1<<20)}, nil
}

// writable returns the file that a path leads to, through links. Where there is
// something else than a file, such as a device, it is an error: the new file
// would take its place.
func writable(path string) (string, error) {
	target, err := filepath.EvalSymlinks(path)
	if errors.Is(err, os.ErrNotExist) {
		if _, err := os.Lstat(path); err == nil {
			return "", inventory.Errorf(inventory.Invalid, "--out %s is a link to what is not there: name the file itself", path)
		}
		return path, nil
	}
	if err != nil {
		return "", inventory.Errorf(inventory.Invalid, "--out %s cannot be written: %w", path, err)
	}
	info, err := os.Lstat(target)
	switch {
	case err != nil:
		return "", inventory.Errorf(inventory.Invalid, "--out %s cannot be written: %w", path, err)
	case !info.Mode().IsRegular():
		return "", inventory.Errorf(inventory.Invalid, "--out %s is a %s and no file: name a file, new or to be replaced", path, sortOf(info.Mode()))
	}
	return target, nil
}

func sortOf(m os.FileMode) string {
	switch {
	case m.IsDir():
		return "folder"
	case m&os.ModeDevice != 0:
		return "device"
	case m&os.ModeNamedPipe != 0:
		return "pipe"
	case m&os.ModeSocket != 0:
		return "socket"
	}
	return "special thing"
}

// createBeside makes a hidden file in the folder of another, with the rights that
// a new file gets there.
func createBeside(path string) (*os.File, error) {
	for {
		name := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.%d", filepath.Base(path), rand.Uint32()))
		f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
		if !errors.Is(err, os.ErrExist) {
			return f, err
		}
	}
}

func (f *tilesFile) add(t tiling.Tile, b []byte) error {
	var zipped bytes.Buffer
	w := gzip.NewWriter(&zipped)
	if _, err := w.Write(b); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	sum := sha256.Sum256(b)
	if !f.directory.Add(pmtiles.ID(t), string(sum[:]), zipped.Len()) {
		return nil
	}
	_, err := f.buffer.Write(zipped.Bytes())
	return err
}

// finish puts the directory before the tiles and gives the file its name.
func (f *tilesFile) finish(head pmtiles.Head) (err error) {
	if err := f.buffer.Flush(); err != nil {
		return err
	}
	if _, err := f.tiles.Seek(0, io.SeekStart); err != nil {
		return err
	}
	whole, err := createBeside(f.path)
	if err != nil {
		return err
	}
	defer func() {
		whole.Close()
		if err != nil {
			os.Remove(whole.Name())
		}
	}()
	before := f.directory.Before(head)
	if _, err := whole.Write(before); err != nil {
		return err
	}
	n, err := io.Copy(whole, f.tiles)
	if err != nil {
		return err
	}
	f.size = int64(len(before)) + n
	if err := errors.Join(whole.Sync(), whole.Close()); err != nil {
		return err
	}
	if _, err := writable(f.path); err != nil {
		return err
	}
	return os.Rename(whole.Name(), f.path)
}

// discard removes what is left of the work.
func (f *tilesFile) discard() {
	f.tiles.Close()
	os.Remove(f.temporary)
}
