# Figures of a made-up blend of three flours with the oven as a process variable. R 4.2.2, stats only.
# Run in this folder: Rscript process.R. Shares are parts of one; the oven is coded -1 and 1.
set.seed(41)
blend <- rbind(diag(3), cbind(c(.5, .5, 0), c(.5, 0, .5), c(0, .5, .5)), rep(1 / 3, 3))
d <- do.call(rbind, lapply(c(-1, 1), function(z) data.frame(blend[rep(1:7, 2), ], z)))
names(d) <- c("wheat", "rye", "oat", "oven")
d[, 1:3] <- round(d[, 1:3], 8); d$oat <- 1 - d$wheat - d$rye
middle <- with(d, 40 * wheat + 30 * rye + 35 * oat + 14 * wheat * rye - 6 * rye * oat +
  oven * (2 * wheat - 1 * rye + 0.5 * oat + 5 * wheat * rye))
d$rise <- round(middle + rnorm(nrow(d), 0, 0.6), 2)
write.csv(d, "flours_and_oven.csv", row.names = FALSE)
num <- function(x) paste0("[", paste(sprintf("%.12g", x), collapse = ", "), "]")
fit <- lm(rise ~ 0 + (wheat + rye + oat + wheat:rye + wheat:oat + rye:oat) +
  (wheat + rye + oat + wheat:rye + wheat:oat + rye:oat):oven, d)
s <- coef(summary(fit))
linear <- lm(rise ~ 0 + wheat + rye + oat + wheat:rye + wheat:oat + rye:oat + oven, d)
crossed <- lm(rise ~ 0 + wheat + rye + oat + wheat:rye + wheat:oat + rye:oat + wheat:oven + rye:oven + oat:oven, d)
mse <- sum(resid(fit)^2) / fit$df.residual
f_linear <- (deviance(linear) - deviance(crossed)) / 2 / mse
f_pairs <- (deviance(crossed) - deviance(fit)) / 3 / mse
# The best blend, by a fine grid along the simplex at both ovens.
g <- expand.grid(wheat = seq(0, 1, 0.0005), rye = seq(0, 1, 0.0005)); g <- g[g$wheat + g$rye <= 1, ]
g$oat <- 1 - g$wheat - g$rye
best <- lapply(c(-1, 1), function(z) { p <- predict(fit, data.frame(g, oven = z)); i <- which.max(p)
  unlist(c(g[i, ], z, p[i], predict(fit, data.frame(g[i, ], oven = z), interval = "confidence")[2:3])) })
cat("{\n", paste0(sprintf("  \"%s\": %s", rownames(s), apply(s, 1, num)), ",\n"),
  sprintf("  \"sigma\": %.12g,\n  \"df\": %d,\n", sqrt(mse), fit$df.residual),
  sprintf("  \"f_linear_by_oven\": %.12g,\n  \"f_pairs_by_oven\": %.12g,\n", f_linear, f_pairs),
  sprintf("  \"best_low\": %s,\n  \"best_high\": %s\n}\n", num(best[[1]]), num(best[[2]])),
  sep = "", file = "flours_and_oven.json")

# The same flours without the oven, with the warmth of the room as a covariate.
e <- d[d$oven < 0, c("wheat", "rye", "oat")]
e$room <- round(21 + rnorm(nrow(e), 0, 1.5), 1)
e$rise <- round(with(e, 40 * wheat + 30 * rye + 35 * oat + 14 * wheat * rye + 0.8 * (room - 21)) +
  rnorm(nrow(e), 0, 0.4), 2)
write.csv(e, "flours_and_room.csv", row.names = FALSE)
e$room_c <- e$room - mean(e$room)
fit <- lm(rise ~ 0 + wheat + rye + oat + wheat:rye + wheat:oat + rye:oat + room_c, e)
s <- coef(summary(fit))
cat("{\n", paste0(sprintf("  \"%s\": %s", sub("room_c", "room", rownames(s)), apply(s, 1, num)), ",\n"),
  sprintf("  \"sigma\": %.12g\n}\n", summary(fit)$sigma), sep = "", file = "flours_and_room.json")
