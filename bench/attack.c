/* Who attacks the door of a measured program? Connections from one source address, in one process that costs little, so
 * that what is measured is the program under attack and not the attacker.
 *
 *   attack guess PORT SOURCE CONNECTIONS     wrong passwords of one account, as fast as they are answered
 *   attack token PORT SOURCE CONNECTIONS     tokens nobody made, as fast as they are answered
 *   attack slow PORT SOURCE CONNECTIONS      one byte of a request's head a second on each
 *
 * A connection that is cut is opened again, in slow after a second at most, else at once.
 *
 * Ends with its standard input and prints "asked refused late other cut": requests answered; with 401; with 429; with
 * anything else; connections that the other side ended.
 *
 * Build: gcc -O2 -o attack attack.c
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define MOST 8192
#define BUFFER 8192
#define MS 1000000L

typedef struct {
    int fd;
    int at;           /* of the head that trickles */
    int length;       /* of the answer read so far */
    char in[BUFFER];
} Connection;

static Connection *all;
static int count, poller;
static long asked, refused, late, other, cut, made;
static struct sockaddr_in here, there;
static const char *mode;
static const char SLOW[] = "GET /api/v1/takes HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ";

static void die(const char *what) { perror(what); exit(1); }

static long now_ns(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec * 1000 * MS + t.tv_nsec;
}

static void open_one(int index) {
    Connection *one = &all[index];
    one->at = one->length = 0;
    one->fd = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0);
    if (one->fd < 0) die("attack: socket");
    if (bind(one->fd, (void *)&here, sizeof here)) die("attack: bind");
    if (connect(one->fd, (void *)&there, sizeof there) && errno != EINPROGRESS) { close(one->fd); one->fd = -1; return; }
    struct epoll_event event = {.events = EPOLLIN | EPOLLRDHUP | (*mode == 's' ? 0 : EPOLLOUT), .data.u32 = index};
    if (epoll_ctl(poller, EPOLL_CTL_ADD, one->fd, &event)) die("attack: epoll");
}

static void lost(int index) {
    if (all[index].fd >= 0) close(all[index].fd);
    all[index].fd = -1;
    cut++;
}

static void ask(int index) {
    char body[128], text[512];
    int length = snprintf(body, sizeof body, "{\"name\":\"ines\",\"password\":\"wrong guess number %ld\"}", ++made);
    if (*mode == 'g')
        length = snprintf(text, sizeof text, "POST /api/v1/login HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
                          "Content-Length: %d\r\n\r\n%s", length, body);
    else
        length = snprintf(text, sizeof text, "GET /api/v1/takes HTTP/1.1\r\nHost: 127.0.0.1\r\n"
                          "Authorization: Bearer %043ld\r\n\r\n", made);
    if (send(all[index].fd, text, length, MSG_NOSIGNAL) != length) lost(index);
}

static void answered(int index, int status) {
    asked++;
    if (status == 401) refused++;
    else if (status == 429) late++;
    else other++;
    ask(index);
}

static void read_from(int index) {
    Connection *one = &all[index];
    int got = recv(one->fd, one->in + one->length, BUFFER - 1 - one->length, 0);
    if (got < 0 && errno == EAGAIN) return;
    if (got <= 0) { lost(index); return; }
    if (*mode == 's') return;
    one->length += got;
    one->in[one->length] = 0;
    char *end = strstr(one->in, "\r\n\r\n"), *said = strcasestr(one->in, "content-length:");
    if (!end || !said) return;
    int whole = end + 4 - one->in + atoi(said + 15);
    if (one->length < whole) return;
    int status = atoi(one->in + 9);
    one->length = 0;
    answered(index, status);
}

static void trickle(void) {
    for (int i = 0; i < count; i++) {
        Connection *one = &all[i];
        if (one->fd < 0) { open_one(i); continue; }
        char byte = SLOW[one->at < (int)sizeof SLOW - 2 ? one->at : (int)sizeof SLOW - 2];
        if (send(one->fd, &byte, 1, MSG_NOSIGNAL) == 1) one->at++;
    }
}

int main(int argc, char **argv) {
    if (argc != 5) { fprintf(stderr, "usage: attack guess|token|slow PORT SOURCE CONNECTIONS\n"); return 2; }
    mode = argv[1];
    there = (struct sockaddr_in){.sin_family = AF_INET, .sin_port = htons(atoi(argv[2])), .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    here = (struct sockaddr_in){.sin_family = AF_INET, .sin_addr.s_addr = inet_addr(argv[3])};
    count = atoi(argv[4]);
    if (count < 1 || count > MOST) return 2;
    struct rlimit files;
    getrlimit(RLIMIT_NOFILE, &files);
    files.rlim_cur = files.rlim_max;
    setrlimit(RLIMIT_NOFILE, &files);
    all = calloc(count, sizeof *all);
    poller = epoll_create1(0);
    struct epoll_event event = {.events = EPOLLIN, .data.u32 = MOST};
    epoll_ctl(poller, EPOLL_CTL_ADD, 0, &event);
    for (int i = 0; i < count; i++) open_one(i);
    printf("ready\n");
    fflush(stdout);
    struct epoll_event events[256];
    long due = now_ns();
    for (;;) {
        int ready = epoll_wait(poller, events, 256, 20);
        for (int i = 0; i < ready; i++) {
            unsigned index = events[i].data.u32;
            if (index == MOST) {
                printf("%ld %ld %ld %ld %ld\n", asked, refused, late, other, cut);
                return 0;
            }
            if (all[index].fd < 0) continue;
            if (events[i].events & EPOLLOUT) { /* it is open: ask, and from now on only listen */
                struct epoll_event heard = {.events = EPOLLIN | EPOLLRDHUP, .data.u32 = index};
                epoll_ctl(poller, EPOLL_CTL_MOD, all[index].fd, &heard);
                ask(index);
            } else read_from(index);
        }
        if (now_ns() < due) continue;
        due = now_ns() + (*mode == 's' ? 1000 : 20) * MS;
        if (*mode == 's') trickle();
        else for (int i = 0; i < count; i++) if (all[i].fd < 0) open_one(i);
    }
}
