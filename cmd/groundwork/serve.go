package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"time"

	"groundwork/internal/api"
	"groundwork/internal/line"
	"groundwork/internal/work"
	"groundwork/web"
)

type serveCommand struct {
	Folder  string `arg:"" optional:"" default:"." help:"Folder with your pieces, shops, photographs and solids." type:"path"`
	Port    int    `help:"Port to listen on; 0 takes any free one." default:"0" placeholder:"N"`
	Listen  string `help:"Address to listen on. Others can reach the page, and change the folder, if it is not this machine's own (127.0.0.1)." default:"127.0.0.1" placeholder:"ADDRESS"`
	Open    bool   `help:"Open the page in your browser."`
	OpenAPI bool   `name:"openapi" help:"Print the OpenAPI description of the page's interface and end."`
	storeFlag
	sharedStrength
}

func (serveCommand) Help() string {
	return "How pieces bear their loads is worked out here, through a queue in a file beside your stock, so that what was worked out once is found again. With --database it is worked out by whoever works from the database, this program among them."
}

// tasks is the queue that the page's long work goes through. It is opened when it
// is first needed, or at once where the maker names it.
type tasks struct {
	open   func() (*work.Queue, error)
	beside int

	mu     sync.Mutex
	opened *work.Queue
}

func (c *serveCommand) tasks(ctx context.Context, out *output) *tasks {
	return &tasks{beside: c.Beside, open: func() (*work.Queue, error) {
		f := c.databaseFlag
		if stock, err := c.path(); err == nil && f.Database == "" {
			f.Database = filepath.Join(filepath.Dir(stock), "work.db")
		}
		// What nobody waits for any longer is let go at once.
		return f.queue(context.WithoutCancel(ctx), out, time.Millisecond, lonely(out))
	}}
}

func (t *tasks) queue() (*work.Queue, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.opened != nil {
		return t.opened, nil
	}
	q, err := t.open()
	t.opened = q
	return q, err
}

// close lets the queue go, when nobody uses it any more.
func (t *tasks) close() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.opened == nil {
		return nil
	}
	return t.opened.Close()
}

// do is an api.Long.
func (t *tasks) do(ctx context.Context, kind string, k line.Task, do func(context.Context, []byte) ([]byte, error)) ([]byte, error) {
	if len(k.Args) > work.MaxArgs { // solids of many triangles
		return do(ctx, k.Args)
	}
	q, err := t.queue()
	if err != nil {
		return nil, err
	}
	return shared{q, map[string]work.Handler{kind: do}, t.beside}.one(ctx, kind, k)
}

func (c *serveCommand) Run(ctx context.Context, out *output) error {
	if c.OpenAPI {
		b, err := api.Description()
		if err != nil {
			return err
		}
		_, err = out.Out.Write(append(b, '\n'))
		return err
	}
	if st, err := os.Stat(c.Folder); err != nil {
		return fmt.Errorf("%w; make the folder first, or name another", err)
	} else if !st.IsDir() {
		return fmt.Errorf("%s is not a folder; name the folder that the piece lies in", c.Folder)
	}
	ip := net.ParseIP(c.Listen)
	if ip == nil {
		return fmt.Errorf("--listen %s is no address; write 127.0.0.1 for this machine alone, or the address of this machine in your network", c.Listen)
	}
	if err := c.sharedStrength.check(); err != nil {
		return err
	}
	if c.Port < 0 || c.Port > 65535 {
		return errors.New("--port must be from 0 to 65535")
	}
	l, err := net.Listen("tcp", net.JoinHostPort(c.Listen, strconv.Itoa(c.Port)))
	if err != nil {
		return fmt.Errorf("%w; choose another --port, or leave it out for any free one", err)
	}
	long := c.tasks(ctx, out)
	if c.Database != "" { // what is wrong with it is told now
		if _, err := long.queue(); err != nil {
			l.Close()
			return err
		}
	}
	files := web.Files()
	s, err := api.New(api.Options{Folder: c.Folder, Page: files, Stock: c.path, Long: long.do, Log: func(format string, a ...any) { fmt.Fprintf(out.Err, "groundwork: "+format+"\n", a...) }})
	if err != nil {
		l.Close()
		return err
	}
	at := address(l.Addr())
	if !web.Built(files) {
		fmt.Fprintln(out.Err, "groundwork: this program was compiled without its page; run make ui and compile it again. Its interface works.")
	}
	if !ip.IsLoopback() {
		fmt.Fprintln(out.Err, "groundwork: everybody who can reach this address can read and change the folder.")
	}
	fmt.Fprintf(out.Out, "Open %s\n", at)
	if c.Open {
		if err := browse(at); err != nil {
			fmt.Fprintf(out.Err, "groundwork: %v; open the address yourself\n", err)
		}
	}
	err = s.Serve(ctx, l)
	closeErr := s.Close()
	if closeErr == nil {
		closeErr = long.close()
	}
	if err == nil && ctx.Err() == nil {
		err = closeErr // after an interrupt a stage that is still at work ends with the program
	}
	if err != nil {
		return err
	}
	return interruptedError{"what you saved is in " + c.Folder}
}

// address is where a browser on this machine finds the page.
func address(a net.Addr) string {
	host, port, err := net.SplitHostPort(a.String())
	if err != nil {
		return "http://" + a.String()
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return "http://" + net.JoinHostPort(host, port)
}

// browse opens an address in the maker's browser.
func browse(address string) error {
	command := map[string][]string{"darwin": {"open"}, "windows": {"rundll32", "url.dll,FileProtocolHandler"}}[runtime.GOOS]
	if command == nil {
		command = []string{"xdg-open"}
	}
	name, err := exec.LookPath(command[0])
	if err != nil {
		return fmt.Errorf("no browser could be started: %w", err)
	}
	cmd := exec.Command(name, append(command[1:], address)...)
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("no browser could be started: %w", err)
	}
	go cmd.Wait() // it may outlast this program
	return nil
}
