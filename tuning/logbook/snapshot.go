package logbook

import (
	"errors"
	"fmt"
	"path"
	"strconv"
	"strings"
)

// besideMark stands between a file's name and the number of the temporary file beside it.
const besideMark = ".part"

// isBeside reports whether a name is that of a temporary file.
func isBeside(name string) bool {
	i := strings.LastIndex(name, besideMark)
	if i < 0 {
		return false
	}
	_, err := strconv.Atoi(name[i+len(besideMark):])
	return err == nil
}

// mostTries bounds how many abandoned temporary files WriteFile passes over.
const mostTries = 100

// WriteFile gives a file a new content in one step: after a crash it has the old content or the new one, whole. When
// WriteFile returns the new one is on the disk. It writes a file beside, syncs it, renames it and syncs the folder. A
// crash may leave the file beside, whose name ends in .part and a number; it is never read.
func WriteFile(fsys FS, name string, data []byte) error {
	f, err := createBeside(fsys, name)
	if err != nil {
		return err
	}
	err = f.write(data)
	if err == nil {
		err = f.sync()
	}
	err = errors.Join(err, f.close())
	if err == nil {
		err = fileError("rename", name, fsys.Rename(f.path, name))
	}
	if err != nil {
		// The failure is told, not that its leftover stays.
		_ = fsys.Remove(f.path)
		return err
	}
	dir := path.Dir(name)
	return fileError("sync folder", dir, fsys.SyncDir(dir))
}

// createBeside makes a new empty file in the same folder.
func createBeside(fsys FS, name string) (*appendFile, error) {
	for n := 1; ; n++ {
		beside := fmt.Sprintf("%s%s%d", name, besideMark, n)
		file, err := fsys.Create(beside)
		if err == nil {
			return &appendFile{path: beside, file: file}, nil
		}
		if err = fileError("create", beside, err); !isKind(err, Exists) || n == mostTries {
			return nil, err
		}
	}
}

// ReadFile returns the content of a file.
func ReadFile(fsys FS, name string) ([]byte, error) { return readAll(fsys, name) }

// Snapshot writes a file in the folder of the record, as WriteFile does.
func (w *Writer) Snapshot(name string, data []byte) error {
	return WriteFile(w.fsys, path.Join(w.dir, name), data)
}
