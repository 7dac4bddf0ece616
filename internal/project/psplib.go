package project

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// ReadPSPLIB reads an instance in the single-mode format of the project
// scheduling problem library (file names end in .sm; Kolisch and Sprecher 1997,
// European Journal of Operational Research 96, 205-216). Job k becomes activity
// k-1, the dummy jobs at the beginning and the end included; a period becomes a
// second. It takes nothing that departs from the format: several projects or
// modes, resources that do not renew, counts that do not agree, successors that
// are not later jobs.
func ReadPSPLIB(r io.Reader) (Project, error) {
	s := &lines{in: bufio.NewScanner(r)}
	p := s.project()
	if s.err != nil {
		return Project{}, fmt.Errorf("project: line %d of the instance: %w", s.number, s.err)
	}
	return p, nil
}

// mostJobs keeps a file that names a huge number of jobs from taking memory.
const mostJobs = mostActivities

// lines reads line by line until something is wrong, which err keeps.
type lines struct {
	in     *bufio.Scanner
	number int
	err    error
}

func (s *lines) fail(format string, a ...any) {
	if s.err == nil {
		s.err = fmt.Errorf(format, a...)
	}
}

// next is the next line, without blanks at its ends.
func (s *lines) next() string {
	if s.err != nil {
		return ""
	}
	s.number++
	if !s.in.Scan() {
		if s.err = s.in.Err(); s.err == nil {
			s.err = io.ErrUnexpectedEOF
		}
	}
	return strings.TrimSpace(s.in.Text())
}

// rule is a line of one character again and again.
func (s *lines) rule(c string) {
	if l := s.next(); len(l) < 10 || strings.Trim(l, c) != "" {
		s.fail("%q is not a line of %s", l, c)
	}
}

// words is a line of these words, whatever blanks are between.
func (s *lines) words(want string) {
	if l := s.next(); strings.Join(strings.Fields(l), " ") != want {
		s.fail("%q, not %q", l, want)
	}
}

// named is what follows a label and a colon.
func (s *lines) named(label string) []string {
	l := s.next()
	name, rest, ok := strings.Cut(l, ":")
	if !ok || strings.TrimSpace(name) != label {
		s.fail("%q, not %q and a colon", l, label)
	}
	return strings.Fields(rest)
}

// count is a named number that may be followed by one word.
func (s *lines) count(label, word string) int {
	f := s.named(label)
	if len(f) == 2 && f[1] == word {
		f = f[:1]
	}
	if len(f) != 1 || s.err != nil {
		s.fail("%q is no number", strings.Join(f, " "))
		return 0
	}
	return s.number1(f[0])
}

// numbers is a line of numbers.
func (s *lines) numbers() []int {
	var out []int
	for _, f := range strings.Fields(s.next()) {
		out = append(out, s.number1(f))
	}
	return out
}

// number1 is one number from 0 to 999,999,999, of digits only.
func (s *lines) number1(f string) int {
	v, err := strconv.ParseUint(f, 10, 63)
	if err != nil || v > 999_999_999 {
		s.fail("%q is no number from 0 to 999999999", f)
		return 0
	}
	return int(v)
}

func (s *lines) project() Project {
	s.rule("*")
	s.named("file with basedata")
	s.named("initial value random generator")
	s.rule("*")
	if n := s.count("projects", ""); n != 1 {
		s.fail("%d projects", n)
	}
	jobs := s.count("jobs (incl. supersource/sink )", "")
	if jobs < 2 || jobs > mostJobs {
		s.fail("%d jobs", jobs)
	}
	s.count("horizon", "")
	s.words("RESOURCES")
	kinds := s.count("- renewable", "R")
	if kinds > 1000 {
		s.fail("%d resources", kinds)
	}
	if s.count("- nonrenewable", "N")+s.count("- doubly constrained", "D") > 0 {
		s.fail("resources that do not renew")
	}
	s.rule("*")
	s.words("PROJECT INFORMATION:")
	s.words("pronr. #jobs rel.date duedate tardcost MPM-Time")
	if f := s.numbers(); len(f) != 6 || f[0] != 1 || f[1] != jobs-2 {
		s.fail("project information does not agree with %d jobs", jobs)
	} else if f[2] != 0 {
		s.fail("release %d of the project", f[2])
	}
	s.rule("*")
	s.words("PRECEDENCE RELATIONS:")
	s.words("jobnr. #modes #successors successors")
	if s.err != nil {
		return Project{}
	}
	p := Project{Activities: make([]Activity, jobs)}
	for i := range jobs {
		f := s.numbers()
		if len(f) < 3 || f[0] != i+1 || f[1] != 1 || f[2] != len(f)-3 {
			s.fail("not the successors of job %d in one mode", i+1)
			return Project{}
		}
		p.Activities[i].Name = strconv.Itoa(i + 1)
		seen := map[int]bool{}
		for _, j := range f[3:] {
			if j <= i+1 || j > jobs || seen[j] {
				s.fail("successor %d of job %d", j, i+1)
				return Project{}
			}
			seen[j] = true
			p.Activities[j-1].After = append(p.Activities[j-1].After, Link{Activity: i})
		}
	}
	s.rule("*")
	s.words("REQUESTS/DURATIONS:")
	heads := ""
	for r := range kinds {
		heads += fmt.Sprintf(" R %d", r+1)
	}
	s.words("jobnr. mode duration" + heads)
	s.rule("-")
	for i := range jobs {
		f := s.numbers()
		if len(f) != 3+kinds || f[0] != i+1 || f[1] != 1 {
			s.fail("not the requests of job %d in one mode", i+1)
			return Project{}
		}
		a := &p.Activities[i]
		a.Duration = int64(f[2])
		for r, v := range f[3:] {
			if v > 0 && a.Duration == 0 {
				s.fail("job %d takes no time, but %d of R %d", i+1, v, r+1)
			} else if v > 0 {
				a.Demands = append(a.Demands, Demand{Resource: r, Amount: int64(v)})
			}
		}
	}
	s.rule("*")
	s.words("RESOURCEAVAILABILITIES:")
	s.words(strings.TrimSpace(heads))
	f := s.numbers()
	if len(f) != kinds {
		s.fail("%d availabilities of %d resources", len(f), kinds)
		return Project{}
	}
	for r, v := range f {
		p.Resources = append(p.Resources, Resource{Name: fmt.Sprintf("R %d", r+1), Capacity: int64(v)})
	}
	s.rule("*")
	for s.err == nil && s.in.Scan() {
		s.number++
		if l := strings.TrimSpace(s.in.Text()); l != "" {
			s.fail("%q after the end", l)
		}
	}
	if s.err == nil {
		s.err = s.in.Err()
	}
	return p
}
