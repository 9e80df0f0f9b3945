# Makes gstat.csv and gstat_variograms.csv beside it, from the R packages gstat and sp (data meuse):
#   Rscript make_table.R FOLDER
# Printed with 15 digits. gstat 2.1-0, sp 1.6-0, R 4.2.2 made the stored tables.
suppressMessages({library(sp); library(gstat)})
folder <- commandArgs(trailingOnly = TRUE)[1]
data(meuse); meuse$lz <- log(meuse$zinc)
coordinates(meuse) <- ~ x + y
goal <- data.frame(x = c(180131, 179605, 178990, 180420, 179950.5, 181072, 178605.25),
                   y = c(331511, 331005, 330500, 332222, 331750.25, 333611, 329717.75))
# the last but one goal is a sample
goal <- SpatialPointsDataFrame(goal, data.frame(row = 1:7))
rows <- NULL
keep <- function(case, k) rows <<- rbind(rows, data.frame(case = case, goal = seq_along(k$var1.pred),
                             value = k$var1.pred, variance = k$var1.var))
quiet <- function(...) { sink(tempfile()); k <- krige(...); sink(); k }
one <- vgm(0.59, "Sph", 897, 0.05)
aniso <- vgm(0.59, "Sph", 1200, 0.05, anis = c(45, 0.4))
nested <- vgm(0.3, "Exp", 80, 0.05, add.to = vgm(0.35, "Sph", 1100))
gauss <- vgm(0.55, "Gau", 350, 0.1)
keep("ordinary all", quiet(lz ~ 1, meuse, goal, one))
keep("ordinary 12", quiet(lz ~ 1, meuse, goal, one, nmax = 12))
keep("ordinary within 400 m", quiet(lz ~ 1, meuse, goal, one, maxdist = 400))
keep("simple", quiet(lz ~ 1, meuse, goal, one, beta = 5.9, nmax = 20))
# the drift in kilometres from a near corner: squares of the coordinates themselves lose six digits
for (p in c("meuse", "goal")) {
  d <- get(p); xy <- coordinates(d)
  d$u <- (xy[, 1] - 180000) / 1000; d$v <- (xy[, 2] - 331000) / 1000; assign(p, d)
}
keep("trend 1", quiet(lz ~ u + v, meuse, goal, one))
keep("trend 2", quiet(lz ~ u + v + I(u^2) + I(u*v) + I(v^2), meuse, goal, one))
keep("anisotropy", quiet(lz ~ 1, meuse, goal, aniso))
keep("nested", quiet(lz ~ 1, meuse, goal, nested))
keep("gaussian", quiet(lz ~ 1, meuse, goal, gauss))
step <- (seq_len(4) - 0.5) / 4 - 0.5
points <- expand.grid(x = 100 * step, y = 60 * step)
keep("block 100 x 60", quiet(lz ~ 1, meuse, goal, one, block = points))
meuse$one <- as.numeric(meuse$zinc > 500)
keep("indicator 500", quiet(one ~ 1, meuse, goal, vgm(0.15, "Sph", 800, 0.05), nmax = 16))
write.csv(format(rows, digits = 15), file.path(folder, "gstat.csv"), row.names = FALSE, quote = FALSE)

out <- NULL
add <- function(case, v) out <<- rbind(out, data.frame(case = case, pairs = v$np,
                                        distance = v$dist, gamma = v$gamma))
add("classical", variogram(lz ~ 1, meuse))
add("robust", variogram(lz ~ 1, meuse, cressie = TRUE))
for (a in c(0, 45, 90, 135)) add(paste("towards", a), variogram(lz ~ 1, meuse, alpha = a, tol.hor = 22.5))
add("residual of dist", variogram(lz ~ sqrt(dist), meuse))
write.csv(format(out, digits = 15), file.path(folder, "gstat_variograms.csv"), row.names = FALSE, quote = FALSE)
