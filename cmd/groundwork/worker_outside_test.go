//go:build outside

package main

import (
	"crypto/rand"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"syscall"
	"testing"
	"time"

	"groundwork/examples"
)

// postgres starts a PostgreSQL server, Debian's, on loopback in a folder of its
// own, that ends with the test, and returns the address of its database.
func postgres(t *testing.T) string {
	t.Helper()
	const binaries = "/usr/lib/postgresql/15/bin/"
	dir, err := os.MkdirTemp("", "worker-postgres-") // not t.TempDir, which only its maker may enter
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	how := &syscall.SysProcAttr{Pdeathsig: syscall.SIGQUIT}
	if os.Getuid() == 0 { // as whom PostgreSQL refuses to run
		u, err := user.Lookup("postgres")
		if err != nil {
			t.Fatal(err)
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		how.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		if err := os.Chown(dir, uid, gid); err != nil {
			t.Fatal(err)
		}
	}
	password, data := rand.Text(), filepath.Join(dir, "data")
	secret := filepath.Join(dir, "pw")
	if err := os.WriteFile(secret, []byte(password+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	made := exec.Command(binaries+"initdb", "-D", data, "-U", "maker", "-A", "scram-sha-256", "--pwfile", secret, "--no-sync", "-E", "UTF8", "--no-locale")
	made.SysProcAttr, made.Dir = &syscall.SysProcAttr{Credential: how.Credential}, dir
	if out, err := made.CombinedOutput(); err != nil {
		t.Fatalf("initdb: %v\n%s", err, out)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := l.Addr().String()
	_, port, _ := net.SplitHostPort(at)
	l.Close()
	server := exec.Command(binaries+"postgres", "-D", data, "-p", port, "-h", "127.0.0.1", "-k", "")
	server.SysProcAttr, server.Dir = how, dir
	started, ended := make(chan error), make(chan struct{})
	go func() {
		runtime.LockOSThread() // whose end Pdeathsig is of
		err := server.Start()
		started <- err
		if err == nil {
			server.Wait()
		}
		close(ended)
	}()
	if err := <-started; err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { server.Process.Signal(syscall.SIGQUIT); <-ended })
	for range 200 {
		if exec.Command(binaries+"pg_isready", "-h", "127.0.0.1", "-p", port).Run() == nil {
			return fmt.Sprintf("postgres://maker:%s@%s/postgres", password, at)
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("PostgreSQL does not answer")
	return ""
}

// 24 wall shelves, two machines, of which one goes away in the middle.
func TestLineByWorkersOfPostgres(t *testing.T) {
	data, err := examples.Files.ReadFile("tern-wall-shelf.yaml")
	if err != nil {
		t.Fatal(err)
	}
	l := lineOf(t, "tern-wall-shelf.yaml", data, "length=500mm..550mm/10mm", "depth=160mm..190mm/10mm")
	if len(l.Variants) != 24 {
		t.Fatalf("%d variants", len(l.Variants))
	}
	shares(t, postgres(t), l)
}

// The seeds of a nest and a check go through PostgreSQL as through a file; the
// lease is the usual one.
func TestNestByWorkersOfPostgres(t *testing.T) { nestShared(t, postgres(t)) }

func TestCheckByAWorkerOfPostgres(t *testing.T) { checkShared(t, postgres(t)) }

func TestPlanByAWorkerOfPostgres(t *testing.T) { planShared(t, postgres(t)) }

func TestServeThroughPostgres(t *testing.T) { servesFromQueue(t, postgres(t)) }
