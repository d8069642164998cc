/* What stands at the far end of a measurement? N recorders that answer at once, in one process, so that the far end
 * costs next to nothing and stamps what it receives with the kernel's own receive times.
 *
 *   deck N      N recorders at 127.1.x.y, all on one free port. Prints "port control_port" and serves until stdin ends.
 *
 * Each connection is a recorder of its own (two programs that are compared never see each other's recordings). On
 * `record` it says ok and sends three transport notices whose timecode advances, each in a write of its own.
 *
 * Control port, 127.0.0.1, one line each, one line back:
 *   dump               "count first last seen": `record`s of healthy recorders since the last dump, first and last
 *                      kernel stamp (ns, CLOCK_REALTIME); seen: clock readings that lay before their stamp (always 0)
 *   fault I WORD MS    recorder I (from 0): none, dead (never answers a record), slow (answers after MS), refuses (110)
 *   delay MS           every recorder answers a record this much later
 *   stream RATE        every connection gets RATE transport notices a second, spread evenly; 0: none
 *   sent               notices of the stream so far
 *   flood I BYTES      recorder I sends BYTES of notices a second on each connection, as far as they are taken; 0: none
 *   flooded            bytes of the flood that were taken so far
 *
 * Build: gcc -O2 -o deck deck.c
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define MAX_FD 16384
#define BUFFER 4096
#define NS 1000000000L
#define AWAKE_NS 300000L /* after a record we do not sleep for so long: the sender would pay for waking us, as it never
                          * does with recorders that are machines of their own */

enum kind { NOTHING, LISTENER, CONTROL_LISTENER, CONTROL, RECORDER, STDIN };
enum fault { NONE, DEAD, SLOW, REFUSES };

typedef struct {
    enum kind kind;
    int device;           /* of a listener or recorder */
    char in[BUFFER];
    int length;
    int in_block;         /* the lines of a block are being read */
    char command[64];     /* its command */
    int slot;             /* what it says of "slot id" */
    int rolling, waiting; /* waiting: a record whose answer is held back */
    long answer_at;       /* monotonic ns; 0: not before the fault is taken away */
    unsigned frame;       /* its timecode */
    int flood_at;         /* where in the flood's notices it is */
    char held_text[BUFFER]; /* what is said between two notices of the flood */
    int held_length;
} Connection;

static Connection *fds[MAX_FD];
static struct { enum fault fault; long delay_ns; } *devices;
static int device_count, poller, highest, held;
static long delay_ns;
static long stamps, first_stamp, last_stamp, stamps_after_reading;
static long stream_period_ns, stream_sent, busy_until;
static int streaming[MAX_FD], stream_count, stream_at;
static double stream_due;
static int flooding = -1, flood_notice, flood_length; /* recorder; bytes of one notice, of all there are */
static long flood_rate, flood_taken, flood_last;
static char flood_text[1 << 16];

static long now_ns(clockid_t clock) {
    struct timespec t;
    clock_gettime(clock, &t);
    return t.tv_sec * NS + t.tv_nsec;
}

static void die(const char *what) { perror(what); exit(1); }

static void put(int fd, const char *text, int length) {
    Connection *one = fds[fd];
    if (one && one->kind == RECORDER && one->device == flooding) {
        if (one->held_length + length <= BUFFER) { /* not into the middle of a notice, and not before there is room */
            memcpy(one->held_text + one->held_length, text, length);
            one->held_length += length;
        }
        return;
    }
    if (send(fd, text, length, MSG_NOSIGNAL | MSG_DONTWAIT) != length && errno == EAGAIN)
        fprintf(stderr, "deck: a reader does not keep up\n");
}
static void say(int fd, const char *text) { put(fd, text, strlen(text)); }

static Connection *watch(int fd, enum kind kind, int device) {
    if (fd >= MAX_FD) { fprintf(stderr, "deck: too many connections\n"); exit(1); }
    Connection *one = fds[fd] = calloc(1, sizeof **fds);
    one->kind = kind;
    one->device = device;
    one->frame = 90000 + fd;
    struct epoll_event event = {.events = EPOLLIN, .data.fd = fd};
    if (epoll_ctl(poller, EPOLL_CTL_ADD, fd, &event)) die("deck: epoll");
    if (fd > highest) highest = fd;
    return one;
}

static int listen_at(unsigned address, int port) {
    int fd = socket(AF_INET, SOCK_STREAM, 0), one = 1;
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons(port), .sin_addr.s_addr = htonl(address)};
    setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
    if (bind(fd, (void *)&at, sizeof at) || listen(fd, 64)) die("deck: listen");
    return fd;
}

static int port_of(int fd) {
    struct sockaddr_in at;
    socklen_t size = sizeof at;
    getsockname(fd, (void *)&at, &size);
    return ntohs(at.sin_port);
}

/* ---- what a recorder says ---- */

static void transport(int fd, Connection *one, const char *head) {
    char text[512];
    unsigned f = ++one->frame;
    int length = snprintf(text, sizeof text,
        "%s transport info:\r\nstatus: %s\r\nspeed: 0\r\nslot id: 1\r\nclip id: 1\r\n"
        "display timecode: %02u:%02u:%02u:%02u\r\ntimecode: %02u:%02u:%02u:%02u\r\ninput video format: 1080p25\r\nloop: false\r\n\r\n",
        head, one->rolling ? "record" : "preview", f / 90000 % 24, f / 1500 % 60, f / 25 % 60, f % 25,
        f / 90000 % 24, f / 1500 % 60, f / 25 % 60, f % 25);
    put(fd, text, length);
}

static void roll(int fd, Connection *one) {
    one->rolling = 1;
    one->waiting = 0;
    say(fd, "200 ok\r\n");
    for (int i = 0; i < 3; i++) transport(fd, one, "508");
}

static void answer(int fd, Connection *one, const char *command) {
    char text[512];
    enum fault fault = devices[one->device].fault;
    if (!strcmp(command, "record")) {
        if (one->rolling) say(fd, "150 invalid state\r\n");
        else if (fault == REFUSES) say(fd, "110 no input\r\n");
        else if (fault == DEAD || fault == SLOW || delay_ns) {
            one->waiting = 1;
            one->answer_at = fault == DEAD ? 0 : now_ns(CLOCK_MONOTONIC) + (fault == SLOW ? devices[one->device].delay_ns : delay_ns);
            held++;
        } else roll(fd, one);
    } else if (!strcmp(command, "stop")) {
        say(fd, "200 ok\r\n");
        one->rolling = 0;
        transport(fd, one, "508");
    } else if (!strcmp(command, "transport info")) transport(fd, one, "208");
    else if (!strcmp(command, "device info")) {
        snprintf(text, sizeof text, "204 device info:\r\nprotocol version: 1.11\r\nmodel: stand-in\r\nunique id: b%05d\r\n"
                 "slot count: 2\r\nsoftware version: 1.0\r\n\r\n", one->device);
        say(fd, text);
    } else if (!strcmp(command, "slot info")) {
        snprintf(text, sizeof text, "202 slot info:\r\nslot id: %d\r\nstatus: mounted\r\nvolume name: B%d\r\n"
                 "recording time: 7200\r\nvideo format: 1080p25\r\nremaining size: 64000000000\r\n\r\n", one->slot, one->slot);
        say(fd, text);
    } else if (!strcmp(command, "remote")) say(fd, "210 remote info:\r\nenabled: true\r\noverride: false\r\n\r\n");
    else if (!strcmp(command, "configuration"))
        say(fd, "211 configuration:\r\naudio input: embedded\r\nvideo input: SDI\r\nfile format: intra-hq\r\n"
                "timecode input: external\r\naudio input channels: 2\r\n\r\n");
    else if (!strcmp(command, "clips count")) say(fd, "214 clips count:\r\nclip count: 1\r\n\r\n");
    else if (!strcmp(command, "clips get"))
        say(fd, "205 clips info:\r\nclip count: 1\r\n1: T001_clip 01:00:00:00 00:00:10:00\r\n\r\n");
    else if (!strcmp(command, "notify") || !strcmp(command, "ping")) say(fd, "200 ok\r\n");
    else say(fd, "100 syntax error\r\n");
}

/* ---- bytes in ---- */

static void stamp(Connection *one, struct msghdr *message) {
    if (devices[one->device].fault != NONE) return;
    long read_at = now_ns(CLOCK_REALTIME), at = read_at;
    for (struct cmsghdr *h = CMSG_FIRSTHDR(message); h; h = CMSG_NXTHDR(message, h))
        if (h->cmsg_level == SOL_SOCKET && h->cmsg_type == SCM_TIMESTAMPNS) {
            struct timespec t;
            memcpy(&t, CMSG_DATA(h), sizeof t);
            at = t.tv_sec * NS + t.tv_nsec;
        }
    if (!stamps || at < first_stamp) first_stamp = at;
    if (!stamps || at > last_stamp) last_stamp = at;
    stamps_after_reading += at > read_at;
    stamps++;
}

static void line(int fd, Connection *one, char *text, int length, struct msghdr *message) {
    if (one->in_block) {
        if (!strncmp(text, "slot id: ", 9)) one->slot = atoi(text + 9);
        if (length) return;
        one->in_block = 0;
    } else if (length && text[length - 1] == ':') {
        one->in_block = 1;
        snprintf(one->command, sizeof one->command, "%.*s", length - 1, text);
        return;
    } else if (length) snprintf(one->command, sizeof one->command, "%.63s", text);
    else return;
    if (!strcmp(one->command, "record")) {
        stamp(one, message);
        busy_until = now_ns(CLOCK_MONOTONIC) + AWAKE_NS;
    }
    answer(fd, one, one->command);
}

static void control(int fd, char *text) {
    char word[32], out[128] = "ok\n";
    int index;
    long ms;
    double rate;
    if (!strcmp(text, "dump")) {
        snprintf(out, sizeof out, "%ld %ld %ld %ld\n", stamps, first_stamp, last_stamp, stamps_after_reading);
        stamps = first_stamp = last_stamp = stamps_after_reading = 0;
    } else if (sscanf(text, "fault %d %31s %ld", &index, word, &ms) == 3 && index >= 0 && index < device_count) {
        devices[index].fault = !strcmp(word, "dead") ? DEAD : !strcmp(word, "slow") ? SLOW : !strcmp(word, "refuses") ? REFUSES : NONE;
        devices[index].delay_ns = ms * 1000000L;
        for (int i = 0; i <= highest; i++) /* what was held back comes now: nothing is left behind on the line */
            if (devices[index].fault == NONE && fds[i] && fds[i]->kind == RECORDER && fds[i]->device == index && fds[i]->waiting) {
                held--;
                roll(i, fds[i]);
            }
    } else if (sscanf(text, "delay %ld", &ms) == 1) delay_ns = ms * 1000000L;
    else if (sscanf(text, "stream %lf", &rate) == 1) {
        stream_count = stream_at = 0;
        for (int i = 0; rate > 0 && i <= highest; i++)
            if (fds[i] && fds[i]->kind == RECORDER) streaming[stream_count++] = i;
        stream_period_ns = stream_count ? (long)(NS / rate / stream_count) : 0;
        stream_due = now_ns(CLOCK_MONOTONIC);
    } else if (!strcmp(text, "sent")) snprintf(out, sizeof out, "%ld\n", stream_sent);
    else if (sscanf(text, "flood %d %ld", &index, &flood_rate) == 2) {
        flooding = flood_rate > 0 ? index : -1;
        flood_last = now_ns(CLOCK_MONOTONIC);
        for (int i = 0; i <= highest; i++) /* what is left of a flood is lost with its connection */
            if (flooding < 0 && fds[i] && fds[i]->kind == RECORDER && fds[i]->flood_at) shutdown(i, SHUT_RDWR);
    } else if (!strcmp(text, "flooded")) snprintf(out, sizeof out, "%ld\n", flood_taken);
    else snprintf(out, sizeof out, "no such command\n");
    say(fd, out);
}

static int read_from(int fd, Connection *one) {
    char extra[256];
    struct iovec into = {one->in + one->length, BUFFER - 1 - one->length};
    struct msghdr message = {.msg_iov = &into, .msg_iovlen = 1, .msg_control = extra, .msg_controllen = sizeof extra};
    int got = recvmsg(fd, &message, 0);
    if (got <= 0) return 0;
    one->length += got;
    one->in[one->length] = 0;
    char *at = one->in, *end;
    while ((end = strchr(at, '\n'))) {
        int length = end - at;
        *end = 0;
        if (length && at[length - 1] == '\r') at[--length] = 0;
        if (one->kind == CONTROL) control(fd, at);
        else line(fd, one, at, length, &message);
        at = end + 1;
    }
    one->length -= at - one->in;
    memmove(one->in, at, one->length);
    return one->length < BUFFER - 1;
}

/* ---- time ---- */

static void due_answers(void) {
    long now = now_ns(CLOCK_MONOTONIC);
    for (int i = 0; held && i <= highest; i++)
        if (fds[i] && fds[i]->waiting && fds[i]->answer_at && fds[i]->answer_at <= now) { held--; roll(i, fds[i]); }
}

static void stream(void) {
    long now = now_ns(CLOCK_MONOTONIC);
    while (stream_period_ns && stream_due <= now) {
        int fd = streaming[stream_at++ % stream_count];
        if (fds[fd] && fds[fd]->kind == RECORDER) { transport(fd, fds[fd], "508"); stream_sent++; }
        stream_due += stream_period_ns;
    }
}

static void make_flood(void) {
    for (unsigned f = 90000;; f++) {
        int length = snprintf(flood_text + flood_length, sizeof flood_text - flood_length,
            "508 transport info:\r\nstatus: preview\r\ntimecode: %02u:%02u:%02u:%02u\r\ndisplay timecode: %02u:%02u:%02u:%02u\r\n\r\n",
            f / 90000 % 24, f / 1500 % 60, f / 25 % 60, f % 25, f / 90000 % 24, f / 1500 % 60, f / 25 % 60, f % 25);
        if (flood_length + length >= (int)sizeof flood_text) return;
        flood_notice = length;
        flood_length += length;
    }
}

static void flood(void) {
    long now = now_ns(CLOCK_MONOTONIC), budget = flood_rate * ((now - flood_last) / 1000) / 1000000;
    flood_last = now;
    for (int i = 0; i <= highest; i++) {
        Connection *one = fds[i];
        if (!one || one->kind != RECORDER || one->device != flooding) continue;
        for (long left = budget; left > 0;) {
            if (one->held_length && one->flood_at % flood_notice == 0) {
                if (send(i, one->held_text, one->held_length, MSG_NOSIGNAL | MSG_DONTWAIT) != one->held_length) break;
                one->held_length = 0;
            }
            int piece = flood_length - one->flood_at;
            if (one->held_length) piece = flood_notice - one->flood_at % flood_notice;
            if (piece > left && !one->held_length) piece = left;
            int sent = send(i, flood_text + one->flood_at, piece, MSG_NOSIGNAL | MSG_DONTWAIT);
            if (sent <= 0) break;
            one->flood_at = (one->flood_at + sent) % flood_length;
            flood_taken += sent;
            left -= sent;
        }
    }
}

int main(int argc, char **argv) {
    struct rlimit files;
    getrlimit(RLIMIT_NOFILE, &files);
    files.rlim_cur = files.rlim_max < MAX_FD ? files.rlim_max : MAX_FD;
    setrlimit(RLIMIT_NOFILE, &files);
    device_count = argc == 2 ? atoi(argv[1]) : 0;
    if (device_count < 1 || device_count > 4000) { fprintf(stderr, "usage: deck N (1 to 4000)\n"); return 2; }
    devices = calloc(device_count, sizeof *devices);
    make_flood();
    poller = epoll_create1(0);
    int port = 0, one = 1;
    for (int i = 0; i < device_count; i++) {
        int fd = listen_at((127u << 24) + (1u << 16) + (i / 200 << 8) + i % 200 + 1, port);
        port = port_of(fd);
        watch(fd, LISTENER, i);
    }
    int door = listen_at(INADDR_LOOPBACK, 0);
    watch(door, CONTROL_LISTENER, 0);
    watch(0, STDIN, 0);
    printf("%d %d\n", port, port_of(door));
    fflush(stdout);
    struct epoll_event events[256];
    for (;;) {
        int awake = busy_until && now_ns(CLOCK_MONOTONIC) < busy_until;
        int ready = epoll_wait(poller, events, 256, awake ? 0 : stream_period_ns || held || flooding >= 0 ? 1 : -1);
        for (int i = 0; i < ready; i++) {
            int fd = events[i].data.fd;
            Connection *here = fds[fd];
            if (here->kind == STDIN) return 0; /* the bench is gone */
            if (here->kind == LISTENER || here->kind == CONTROL_LISTENER) {
                int peer = accept(fd, 0, 0);
                if (peer < 0) continue;
                setsockopt(peer, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
                if (here->kind == CONTROL_LISTENER) { watch(peer, CONTROL, 0); continue; }
                setsockopt(peer, SOL_SOCKET, SO_TIMESTAMPNS, &one, sizeof one);
                watch(peer, RECORDER, here->device);
                say(peer, "500 connection info:\r\nprotocol version: 1.11\r\nmodel: stand-in\r\n\r\n");
            } else if (!read_from(fd, here)) {
                held -= here->waiting;
                close(fd);
                free(here);
                fds[fd] = 0;
            }
        }
        if (held) due_answers();
        if (stream_period_ns) stream();
        if (flooding >= 0) flood();
    }
}
